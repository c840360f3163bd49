#include "report/soak_text.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "analysis/number_text.hpp"
#include "analysis/soak/drift.hpp"
#include "report/format.hpp"

namespace plexor::report {

namespace {

using analysis::Hole;
using analysis::Results;

constexpr std::size_t most_holes_told = 12;

std::string_view cause_words(Hole::Cause cause) {
  switch (cause) {
    case Hole::Cause::reboot: return "the computer began anew";
    case Hole::Cause::killed: return "the program was killed or crashed, the computer went on";
    case Hole::Cause::interrupted: return "the run was stopped and resumed";
    case Hole::Cause::fault: return "the rig had a fault, and the run was resumed";
  }
  return "";
}

void tell_holes(std::vector<std::string>& sentences, const Results& results) {
  const auto& holes = results.holes;
  const std::size_t told = std::min(holes.size(), most_holes_told);
  for (std::size_t i = 0; i < told; ++i) sentences.push_back(hole_text(results, holes[i]));
  if (told == holes.size()) return;
  sentences.push_back(fmt::format("and {} more stretches not watched; results.json has them all",
                                  count(holes.size() - told)));
}

void tell_disturbances(std::vector<std::string>& sentences, const Results& results) {
  const analysis::Disturbances& found = results.disturbances;
  for (const analysis::DisturbedBy& one : found.by_name) {
    sentences.push_back(fmt::format(
        "disturbed by {}{}: {} ({} of quiet left out), {} in it counted apart", one.name,
        one.by.empty() || one.by == "hand" ? "" : fmt::format(" (told by {})", one.by),
        analysis::counted(one.marks, "mark") + (one.by == "hand" ? " by hand" : ""),
        analysis::hours_text(one.quiet_h), analysis::counted(one.incidents, "alarm")));
  }
  if (found.cut_short == 0) return;
  sentences.push_back(
      fmt::format("{} reached back more than an hour; what lay before that was "
                  "counted as undisturbed",
                  analysis::counted(found.cut_short, "mark")));
}

void tell_device(std::vector<std::string>& sentences, const Results& results, std::uint32_t index) {
  const analysis::DeviceResult& device = results.devices[index];
  if (device.power_cycles > 0) {
    const auto last = std::find_if(results.power_cycles.rbegin(), results.power_cycles.rend(),
                                   [&](const auto& one) { return one.device == index; });
    const std::string why =
        last == results.power_cycles.rend()
            ? ""
            : fmt::format(", last at {} ({})", clock_of_run(last->at_s), last->reason);
    sentences.push_back(fmt::format("{}: power taken away and given back {}{}", device.name,
                                    analysis::counted(device.power_cycles, "time"), why));
  }
  if (device.unheard_s >= 1.0) {
    sentences.push_back(fmt::format("{} could not be heard for {} in all", device.name,
                                    length_of_time(device.unheard_s)));
  }
}

}  // namespace

std::string_view unit_key(std::string_view unit) {
  if (unit == "/h") return "per_hour";
  if (unit == "degC") return "c";
  return unit.empty() ? "share" : unit;
}

std::string_view hole_cause(Hole::Cause cause) {
  switch (cause) {
    case Hole::Cause::reboot: return "reboot";
    case Hole::Cause::killed: return "killed";
    case Hole::Cause::interrupted: return "interrupted";
    case Hole::Cause::fault: return "fault";
  }
  return "";
}

bool knows_hours_of_day(const Results& results) {
  return std::ranges::any_of(results.devices, [](const analysis::DeviceResult& device) {
    return std::ranges::any_of(device.by_hour_of_day,
                               [](const auto& hour) { return hour.quiet_hours > 0.0; });
  });
}

std::string local_time_before(const Results& results, double run_s) {
  const base::Duration at{std::llround(run_s * 1e9)};
  const auto wall = results.clock.just_before(at);
  if (!wall) return {};
  const auto minute = floor<std::chrono::minutes>(wall->time_of_day()).count();
  return fmt::format("{:02}:{:02}", minute / 60, minute % 60);
}

std::string hole_text(const Results& results, const Hole& hole) {
  const std::string local = local_time_before(results, hole.begins_s);
  const std::string into_the_run = clock_of_run(hole.begins_s) + " of the run";
  return fmt::format("not watched for {} after {}: {}",
                     hole.length_s ? length_of_time(*hole.length_s) : "an unknown time",
                     local.empty() ? into_the_run : fmt::format("{} ({})", local, into_the_run),
                     cause_words(hole.cause));
}

std::vector<std::string> course_sentences(const Results& results) {
  std::vector<std::string> sentences;
  tell_holes(sentences, results);
  tell_disturbances(sentences, results);
  for (std::uint32_t device = 0; device < results.devices.size(); ++device) {
    tell_device(sentences, results, device);
  }
  return sentences;
}

std::string extremes_text(const analysis::SoakResults& soak, std::size_t device) {
  std::optional<double> least;
  std::optional<double> most;
  std::uint64_t most_alarms = 0;
  std::size_t worst_hour = 0;
  bool listened = false;
  for (std::size_t i = 0; i < soak.hours.size(); ++i) {
    const analysis::DeviceHour& hour = soak.hours[i].devices[device];
    if (hour.detection.n >= analysis::fewest_trials_an_hour) {
      least = std::min(least.value_or(1.0), *hour.detection.estimate);
      most = std::max(most.value_or(0.0), *hour.detection.estimate);
    }
    listened = listened || hour.false_alarms.hours > 0.0;
    if (hour.false_alarms.incidents <= most_alarms) continue;
    most_alarms = hour.false_alarms.incidents;
    worst_hour = i + 1;
  }
  std::string text;
  if (least) {
    text = *least == *most ? fmt::format("detection {} in each hour", quantity(*least, ""))
                           : fmt::format("detection {} to {} an hour", quantity(*least, ""),
                                         quantity(*most, ""));
  }
  if (!listened) return text;
  text += text.empty() ? "" : "; ";
  if (most_alarms == 0) return text + "no false alarm in any hour";
  return text + fmt::format("at most {} in an hour (hour {})",
                            analysis::counted(most_alarms, "false alarm"), worst_hour);
}

}  // namespace plexor::report
