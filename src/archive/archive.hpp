#pragma once

#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "analysis/history/run_figures.hpp"
#include "archive/address.hpp"
#include "archive/query.hpp"

namespace plexor::archive {

class Database;

/// What became of a run that was brought.
enum class Imported : std::uint8_t {
  stored,
  there_already,  ///< the same figures
  replaced,       ///< other figures of this run: it went on after a resume, or is judged anew
  has_more,       ///< of an older copy, or one that was cut: what is there stays
};

/// Many runs in one SQLite file or one PostgreSQL database. Several processes may use it at once;
/// one object serves one thread. Whatever the database refuses is base::RigFault; what it is asked
/// again for by itself: a lock that somebody holds, two who change the same, a connection that
/// was lost.
class Archive {
 public:
  /// Opens it; makes it if it is new, and brings an older one up to date. Throws base::InputError
  /// where there is no such server or file, or it is a newer plexor's.
  explicit Archive(const Address& address);
  ~Archive();
  Archive(const Archive&) = delete;
  Archive& operator=(const Archive&) = delete;
  Archive(Archive&&) noexcept;
  Archive& operator=(Archive&&) noexcept;

  Imported import(const analysis::RunFigures& run);
  /// Some hundred runs in a transaction: much quicker than one by one. In the order given.
  std::vector<Imported> import(std::span<const analysis::RunFigures> runs);

  /// By night, start and id. Where a release or unit is asked for, each run has only the devices
  /// that are so.
  [[nodiscard]] std::vector<analysis::RunFigures> find(const Query& query);

  /// How the database goes about each statement of find(), in its own words.
  [[nodiscard]] std::string plan_of(const Query& query);

  /// For what else the database keeps: the queue.
  [[nodiscard]] Database& database() { return *database_; }

 private:
  std::unique_ptr<Database> database_;
};

}  // namespace plexor::archive
