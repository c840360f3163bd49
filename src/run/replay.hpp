#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "journal/records.hpp"
#include "rig/rig_file.hpp"
#include "run/ledger.hpp"
#include "scenario/scenario.hpp"

namespace plexor::run {

/// Makes a run's ledger again from its journal, so that the run can go on: what was planned and
/// not finished does not count and is presented again, what was finished counts as it did. Feed
/// each entry in order, then ask once.
class Replay {
 public:
  /// Both as the journal's header gives them; they must outlive the ledger.
  Replay(const scenario::Scenario& scenario, const rig::RigFile& rig, bool lifted);

  /// Throws base::InputError for records that these can't have led to.
  void take(const journal::Record& record);

  struct Past {
    Ledger ledger;
    std::uint32_t segments = 0;              ///< so far
    std::optional<journal::Segment> last{};  ///< of them
    std::optional<journal::Ended> ended{};   ///< how the last one ended; nothing: without a word
  };
  [[nodiscard]] Past finish();

 private:
  void on(const journal::Segment& segment);
  void on(const journal::TrialPlanned& planned);
  void on(const journal::TrialDone& done);
  void on(const journal::Heard& heard);
  void on(const journal::Disturbance& told);
  void on(const journal::ListenerState& state);
  void on(const journal::ReferenceShift& shift);
  void on(const journal::Moved& moved);
  void on(const journal::Ended& ended) { past_.ended = ended; }
  template <typename Record>
  void on(const Record& /*changes nothing of what comes*/) {}

  const scenario::Scenario& scenario_;
  Past past_;
  std::optional<journal::TrialPlanned> open_;
};

}  // namespace plexor::run
