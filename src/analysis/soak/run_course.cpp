#include "analysis/soak/run_course.hpp"

#include <fmt/format.h>

#include <utility>

#include "analysis/figures.hpp"
#include "analysis/number_text.hpp"
#include "analysis/sequential_verdicts.hpp"
#include "analysis/soak/drift.hpp"
#include "analysis/soak/hour_blocks.hpp"

namespace plexor::analysis {

RunCourse::RunCourse(const scenario::Scenario& scenario, std::size_t devices)
    : scenario_(scenario),
      watch_(devices),
      marks_(scenario.incident_window),
      hours_(devices, scenario.reference.has_value()),
      cycles_(devices),
      disturbed_(devices) {}

void RunCourse::power_cycle(const journal::PowerCycle& told, base::Duration run_time) {
  ++cycles_.at(told.device);
  if (cycled_.size() >= max_findings) return;
  cycled_.push_back({.device = told.device, .at_s = base::to_s(run_time), .reason = told.reason});
}

void RunCourse::released(const Presentation& presentation) {
  marks_.forget_before(presentation.run_time(presentation.planned.start));
  const bool taps = presentation.planned.trial.kind != base::TrialKind::quiet;
  if (taps && !presentation.done.void_reason) hours_.taps(presentation);
}

std::vector<base::Stretch> RunCourse::quiet(Presentation& presentation) {
  UndisturbedQuiet parted = marks_.part(presentation);
  hours_.quiet(presentation, parted, watch_.clock());
  for (std::size_t device = 0; device < disturbed_.size(); ++device) {
    disturbed_[device] += parted.disturbed[device].size();
  }
  return std::move(parted.stretches);
}

void RunCourse::add_to(DeviceEvidence& evidence, std::size_t device) const {
  DeviceResult& result = evidence.result;
  result.disturbed_incidents = disturbed_[device];
  result.by_hour_of_day = hours_.by_hour_of_day(device);
  result.power_cycles = cycles_[device];
  result.unheard_s = watch_.unheard_s(device);
  result.false_alarms.scatter =
      hour_scatter(hour_blocks(hours_.alarms_h(device), result.false_alarms.hours));
  const auto& limit = scenario_.accept.false_alarms_per_hour;
  const bool tested_meanwhile = limit && limit->sequential;
  if (result.false_alarms.scatter && result.false_alarms.scatter->by_hours) {
    result.remarks.push_back(scatter_words(*result.false_alarms.scatter, tested_meanwhile));
  }
}

void RunCourse::add_to(Results& results) {
  results.clock = watch_.clock();
  results.holes = watch_.holes();
  results.power_cycles = std::move(cycled_);
  results.tapper = hours_.tapper();
  results.disturbances = std::move(marks_).take();
  const bool is_soak = scenario_.purpose == scenario::ScenarioPurpose::soak;
  if (!is_soak && results.duration_s <= long_run_s) return;
  SoakResults& soak = results.soak.emplace();
  soak.hours = hours_.hours(results.duration_s);
  std::vector<AlarmCourse> alarms;
  for (std::size_t device = 0; device < results.devices.size(); ++device) {
    alarms.push_back(
        {.alarms_h = hours_.alarms_h(device), .listened_h = to_hours(hours_.listened())});
  }
  soak.drifts = drifts_of(soak.hours, results.devices, alarms);
  soak.drift_word = drift_words(soak.drifts, soak.hours.size());
  withdraw_fixed_intervals(soak, scenario_.accept);
}

}  // namespace plexor::analysis
