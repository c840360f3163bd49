#include "analysis/soak/hours.hpp"

#include <algorithm>
#include <chrono>
#include <limits>

#include "analysis/figures.hpp"

namespace plexor::analysis {
namespace {

constexpr base::Duration hour_length = std::chrono::hours{1};
constexpr double hour_s = 3600.0;
/// Five years. A run lasts weeks; only a journal that was tampered with tells of more, and then its
/// last hour holds the rest.
constexpr std::int64_t most_hours = std::int64_t{5} * 366 * 24;

std::size_t hour_of_day(const base::WallTime& now) {
  return static_cast<std::size_t>(floor<std::chrono::hours>(now.time_of_day()).count());
}

/// How much of the stretches lies before this moment.
base::Duration listened_until(base::Duration at, const std::vector<base::Stretch>& stretches) {
  base::Duration sum{};
  for (const base::Stretch& stretch : stretches) {
    if (stretch.from >= at) break;
    sum += std::min(stretch.to, at) - stretch.from;
  }
  return sum;
}

}  // namespace

HoursTally::Hour& HoursTally::at(base::Duration run_time) {
  const auto index =
      static_cast<std::size_t>(std::clamp(run_time / hour_length, std::int64_t{0}, most_hours - 1));
  while (hours_.size() <= index) {
    hours_.emplace_back();
    hours_.back().devices.resize(devices_.size());
  }
  return hours_[index];
}

void HoursTally::taps(const Presentation& presentation) {
  Hour& hour = at(presentation.run_time(presentation.planned.start));
  // A journal without a model of the coil has 0 in each trial.
  if (presentation.planned.coil_mc != 0) {
    const double coil_c = static_cast<double>(presentation.planned.coil_mc) / 1000.0;
    hour.coil_c.add(coil_c);
    coil_c_.add(coil_c);
  }
  const bool is_reference = presentation.planned.trial.kind == base::TrialKind::reference;
  const journal::TrialDone& done = presentation.done;
  if (is_reference != reference_taps_ || done.contacts.size() != done.actual.size()) return;
  for (std::size_t tap = 0; tap < done.contacts.size(); ++tap) {
    const double transit_ms = base::to_ms(done.contacts[tap] - done.actual[tap].on);
    hour.transit_ms.add(transit_ms);
    transit_ms_.add(transit_ms);
  }
}

void HoursTally::rhythm(const Presentation& presentation) {
  const judge::Settled& settled = *presentation.settled;
  Hour& hour = at(presentation.run_time(settled.trial.first_contact));
  const auto index = static_cast<std::size_t>(&hour - hours_.data());
  if (index != medians_of_) close_medians();
  medians_of_ = index;
  ++hour.trials;
  if (settled.trial.expects.empty()) return;
  for (std::size_t device = 0; device < devices_.size(); ++device) {
    const judge::Answer& answer = settled.answers[device];
    const bool hit = answer.outcome == base::Outcome::hit;
    ++hour.devices[device].expecting;
    if (hit) ++hour.devices[device].hits;
    devices_[device].latencies_ms.push_back(hit ? base::to_ms(answer.latency.value())
                                                : std::numeric_limits<double>::infinity());
  }
}

void HoursTally::close_medians() {
  for (std::size_t device = 0; device < devices_.size(); ++device) {
    std::vector<double>& latencies = devices_[device].latencies_ms;
    if (latencies.empty()) continue;
    std::ranges::sort(latencies);
    hours_[medians_of_].devices[device].median_ms = quantile_type7(latencies, 0.5);
    latencies.clear();
  }
}

void HoursTally::listen(const base::Stretch& stretch, const LocalClock& clock) {
  for (base::Duration from = stretch.from; from < stretch.to;) {
    const base::Duration end = std::min(stretch.to, (from / hour_length + 1) * hour_length);
    at(from).listened += end - from;
    from = end;
  }
  for (base::Duration from = stretch.from; from < stretch.to;) {
    const base::Duration end = std::min(stretch.to, clock.next_hour(from));
    if (const auto now = clock.at(from)) {
      for (Device& device : devices_) {
        device.by_hour_of_day[hour_of_day(*now)].quiet_hours += to_hours(end - from);
      }
    }
    from = end;
  }
}

void HoursTally::alarm(std::size_t device, base::Duration when, const UndisturbedQuiet& parted,
                       base::Duration listened_before, const LocalClock& clock) {
  ++at(when).devices[device].incidents;
  devices_[device].alarms_h.push_back(
      to_hours(listened_before + listened_until(when, parted.stretches)));
  if (const auto now = clock.at(when)) {
    ++devices_[device].by_hour_of_day[hour_of_day(*now)].incidents;
  }
}

void HoursTally::quiet(const Presentation& presentation, const UndisturbedQuiet& parted,
                       const LocalClock& clock) {
  const base::Duration listened_before = listened_;
  for (const base::Stretch& stretch : parted.stretches) {
    listen(stretch, clock);
    listened_ += stretch.length();
  }
  for (std::size_t device = 0; device < devices_.size(); ++device) {
    for (const base::Instant when : presentation.settled->answers[device].incidents) {
      alarm(device, presentation.run_time(when), parted, listened_before, clock);
    }
    for (const base::Duration when : parted.disturbed[device]) {
      ++at(when).devices[device].disturbed;
    }
  }
}

std::vector<RunHour> HoursTally::hours(double duration_s) {
  close_medians();
  std::vector<RunHour> result;
  for (std::size_t index = 0; index < hours_.size(); ++index) {
    const Hour& hour = hours_[index];
    const double from_s = hour_s * static_cast<double>(index);
    RunHour& shown =
        result.emplace_back(RunHour{.from_s = from_s,
                                    .to_s = std::max(from_s, std::min(from_s + hour_s, duration_s)),
                                    .trials = hour.trials,
                                    .transit_ms = hour.transit_ms.mean(),
                                    .coil_c = hour.coil_c.mean(),
                                    .devices = {}});
    for (const Counts& counts : hour.devices) {
      shown.devices.push_back({.detection = proportion_of(counts.hits, counts.expecting),
                               .median_ms = counts.median_ms,
                               .false_alarms = alarm_rate_of(counts.incidents, hour.listened),
                               .disturbed_incidents = counts.disturbed});
    }
  }
  return result;
}

TapperFigures HoursTally::tapper() const {
  return {.transit_ms = transit_ms_.mean(),
          .transit_sd_ms = transit_ms_.deviation(),
          .coil_c = coil_c_.mean()};
}

}  // namespace plexor::analysis
