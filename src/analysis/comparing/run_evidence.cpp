#include "analysis/comparing/run_evidence.hpp"

#include <algorithm>
#include <limits>
#include <utility>

namespace plexor::analysis {
namespace {

double latency_ms_of(const judge::Answer& answer) {
  const bool is_heard = answer.outcome == base::Outcome::hit && answer.latency;
  return is_heard ? base::to_ms(*answer.latency) : std::numeric_limits<double>::infinity();
}

}  // namespace

void EvidenceGatherer::take(const TrialRow& row) {
  const judge::Settled& settled = *row.settled;
  const bool counts = settled.trial.kind == base::TrialKind::rhythm && !settled.void_reason &&
                      !settled.trial.expects.empty();
  if (!counts) return;
  if (trials_.size() < settled.answers.size()) trials_.resize(settled.answers.size());
  const base::TrialId& id = settled.trial.id;
  for (std::size_t device = 0; device < settled.answers.size(); ++device) {
    const judge::Answer& answer = settled.answers[device];
    trials_[device].push_back({id.block, id.number, settled.trial.rhythm,
                               answer.outcome == base::Outcome::hit, latency_ms_of(answer)});
  }
}

RunEvidence EvidenceGatherer::finish(const std::string& place, const Results& results) {
  RunEvidence run;
  run.place = place;
  run.header = results.header;
  run.scenario =
      scenario::parse_scenario(results.header.scenario_text, results.header.scenario_file);
  run.quiet_hours = results.quiet_hours;
  run.void_fraction = results.void_fraction;
  run.is_complete = results.ended && results.ended->reason == journal::Ended::Reason::complete;
  trials_.resize(results.devices.size());
  for (std::size_t device = 0; device < results.devices.size(); ++device) {
    std::vector<AnsweredTrial>& trials = trials_[device];
    std::ranges::sort(trials, {}, &AnsweredTrial::key);
    run.devices.push_back({results.devices[device].name, results.devices[device].version,
                           std::move(trials), results.devices[device].false_alarms.incidents});
  }
  return run;
}

}  // namespace plexor::analysis
