#include "run/retention.hpp"

#include <algorithm>
#include <functional>
#include <iterator>
#include <set>

namespace plexor::run {

namespace {

/// Why an old run loses nothing; empty if it does.
std::string reason_to_keep(const RecordedRun& run) {
  if (!run.ended) return "it goes on, or was cut off: it can be resumed";
  if (*run.ended == journal::Ended::Reason::interrupted)
    return "it was interrupted: it can be resumed";
  if (!run.has_results) return "its results were not made yet: plexor report";
  if (run.is_archived == false) return "it is not in the archive yet";
  return "";
}

}  // namespace

std::vector<Keeping> what_is_kept(const std::vector<RecordedRun>& runs,
                                  const Retention& retention) {
  std::set<std::chrono::sys_days, std::greater<>> nights;  // the last first
  for (const RecordedRun& run : runs) nights.insert(run.night);
  std::vector<Keeping> kept;
  for (const RecordedRun& run : runs) {
    const auto nights_ago =
        static_cast<std::uint64_t>(std::distance(nights.begin(), nights.find(run.night)));
    const bool old_journal = nights_ago >= retention.journals;
    const bool old_waveforms =
        run.has_waveforms && nights_ago >= std::min(retention.waveforms, retention.journals);
    const std::string reason = old_journal || old_waveforms ? reason_to_keep(run) : "";
    kept.push_back({old_journal && reason.empty(), old_waveforms && reason.empty(), reason});
  }
  return kept;
}

}  // namespace plexor::run
