#pragma once

#include <chrono>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "analysis/history/run_figures.hpp"

namespace plexor::archive {

class Archive;

/// What shall be done once, by any rig that fits.
struct NewWork {
  std::string scenario;  ///< its name, for people
  std::string scenario_text;
  std::string rig{};      ///< the only one that may do it; empty: any
  std::string surface{};  ///< likewise
  std::int32_t priority = 0;
};

enum class WorkState : std::uint8_t {
  waiting,
  claimed,   ///< by a rig, until its lease ends
  recorded,  ///< its result is in the archive
  refused,   ///< it can't be done, see the reason
};

struct WorkItem {
  std::int64_t item = 0;
  NewWork work{};  ///< without the scenario's text
  WorkState state = WorkState::waiting;
  std::int64_t attempts = 0;
  std::string claimed_by{};                          ///< the last rig that claimed it
  std::optional<std::chrono::milliseconds> lease{};  ///< claimed: what is left; < 0: it has ended
  std::string run_id{};
  std::string reason{};
};

/// An item in the hands of one rig. The attempt is its token: as soon as another rig has claimed
/// the item anew, nothing is taken from this one any more.
struct Claim {
  std::int64_t item = 0;
  std::int64_t attempt = 0;
  std::string scenario{};
  std::string scenario_text{};
};

struct Claimant {
  std::string rig;
  std::string surface;
};

enum class Finish : std::uint8_t {
  recorded,
  recorded_already,  ///< by another; this result was not taken
  lease_lost,        ///< another has the item now; this result was not taken
};

/// Work for several rigs at one archive. Leases run by the database's clock, so rigs need not agree
/// on the time. An item may be done twice, when a rig was lost while it did it; its result is
/// recorded once. Throws base::RigFault for what the database refuses.
class Queue {
 public:
  /// The archive must outlive it.
  explicit Queue(Archive& archive) : archive_(archive) {}

  /// All or none; in this order at the same priority. Their numbers.
  std::vector<std::int64_t> add(const std::vector<NewWork>& works);
  [[nodiscard]] std::vector<WorkItem> list();

  /// The most urgent that waits or whose lease has ended; nothing if there is none for this rig.
  [[nodiscard]] std::optional<Claim> claim(const Claimant& who, std::chrono::milliseconds lease);
  /// How many this rig may do that are not recorded and not refused, those of others included: a
  /// rig that holds one may be lost.
  [[nodiscard]] std::uint64_t open_for(const Claimant& who);

  /// From now on for so long. False: it was lost.
  [[nodiscard]] bool renew(const Claim& claim, std::chrono::milliseconds lease);
  /// The run and the end of the item in one transaction. An ended lease is no reason to refuse it
  /// while nobody else has claimed the item.
  [[nodiscard]] Finish finish(const Claim& claim, const analysis::RunFigures& run);
  /// Back into the queue, for any rig. Nothing happens to an item that was lost.
  void give_back(const Claim& claim);
  /// No rig will do it: the scenario can't be used.
  void refuse(const Claim& claim, const std::string& reason);

 private:
  Archive& archive_;
};

[[nodiscard]] std::string to_text(WorkState state);

}  // namespace plexor::archive
