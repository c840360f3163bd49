#include "analysis/history/night_facts.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <map>

#include "analysis/history/trend_series.hpp"
#include "analysis/history/trend_words.hpp"
#include "analysis/number_text.hpp"

namespace plexor::analysis::history {
namespace {

constexpr std::string_view left_out_words = " The night is left out of baselines and tests.";

/// How a hole of each cause is told.
struct HoleWords {
  Cause cause = Cause::unknown;
  std::string_view brief;
  std::string_view what;
};

HoleWords words_of(Hole::Cause cause) {
  switch (cause) {
    case Hole::Cause::reboot:
      return {Cause::power_or_restart, "a power cut or restart",
              "the computer began anew (a power cut, or somebody restarted it)"};
    case Hole::Cause::killed:
      return {Cause::program_killed, "the program was ended",
              "the program ended without a word while the computer went on (killed, or crashed)"};
    case Hole::Cause::interrupted:
      return {Cause::stopped, "a run stopped and resumed",
              "the run was stopped in order and resumed"};
    case Hole::Cause::fault:
      return {Cause::rig_fault, "a fault of the rig",
              "a fault of the rig stopped the run, which was resumed"};
  }
  return {};
}

std::string place_of(const Hole& hole) {
  const std::string begins = length_text(hole.begins_s) + " into the run";
  if (!hole.length_s) return begins + ", and for how long nobody watched is not known";
  return fmt::format("{}, after {} in which nobody watched", begins, length_text(*hole.length_s));
}

/// All holes of one cause in one night are one finding.
void find_holes(Trend& trend, const TrendNight& night) {
  std::map<Hole::Cause, std::vector<const Hole*>> by_cause;
  for (const Hole& hole : night.run.holes) by_cause[hole.cause].push_back(&hole);
  for (const auto& [cause, holes] : by_cause) {
    const HoleWords words = words_of(cause);
    TrendFinding finding = finding_of(night, FindingKind::hole, words.cause);
    std::string places;
    for (const Hole* hole : holes) places += (places.empty() ? "" : "; ") + place_of(*hole);
    const std::string often = holes.size() == 1 ? "" : " " + times_text(holes.size());
    finding.brief = fmt::format("{} on {}", words.brief, night.name);
    finding.sentence =
        fmt::format("In the night of {}{} {}{}: {}.", night.name,
                    where_text(trend, night.run.scenario, night.run.rig, night.run.surface),
                    words.what, often, places);
    if (!night.left_out.empty()) finding.sentence += left_out_words;
    trend.findings.push_back(std::move(finding));
  }
}

std::string end_words(const RunFigures& run) {
  if (run.ended == "fault") return "ended with a fault of the rig";
  if (run.ended == "interrupted") return "was stopped before its end";
  if (run.ended == "too-many-voids") {
    return fmt::format("ended undecided, with too many voids: {} beside {}", run.voids,
                       counted(run.trials, "valid trial"));
  }
  return "has no end: the program or the computer ended, and nobody resumed it";
}

Cause end_cause(const RunFigures& run) {
  if (run.ended == "interrupted") return Cause::stopped;
  return run.ended.empty() ? Cause::program_killed : Cause::rig_fault;
}

void find_bad_end(Trend& trend, const TrendNight& night) {
  const RunFigures& run = night.run;
  if (run.ended == "complete") return;
  TrendFinding finding = finding_of(night, FindingKind::bad_end, end_cause(run));
  finding.brief = run.ended == "too-many-voids" ? "too many voids on " + night.name
                  : run.ended.empty()           ? "a run without an end on " + night.name
                  : run.ended == "fault"        ? "a fault of the rig on " + night.name
                                                : "a stopped run on " + night.name;
  finding.sentence = fmt::format("The run of the night of {}{} {}{}.", night.name,
                                 where_text(trend, run.scenario, run.rig, run.surface),
                                 end_words(run), run.detail.empty() ? "" : ": " + run.detail);
  finding.sentence += left_out_words;
  trend.findings.push_back(std::move(finding));
}

/// What else is known of a broken device: its detection, and that of the release's other nights.
std::string detection_beside(const Trend& trend, const TrendFinding& finding, std::size_t night) {
  for (const TrendSeries& series : trend.series) {
    if (series.figure != Figure::detection || series.unit != finding.unit ||
        series.rig != finding.rig || series.surface != finding.surface ||
        series.scenario != finding.scenario) {
      continue;
    }
    const auto at = std::ranges::find(series.points, night, &TrendPoint::night);
    if (at == series.points.end()) return {};
    std::vector<std::size_t> others;
    for (const std::size_t i : good_points(series)) {
      if (series.points[i].release == at->release) others.push_back(i);
    }
    const std::array<std::size_t, 1> own = {static_cast<std::size_t>(at - series.points.begin())};
    std::string heard = fmt::format("; it detected {}", level_text(series, own));
    if (others.empty()) return heard;
    return heard +
           fmt::format(", in the good nights of its release {}", level_text(series, others));
  }
  return {};
}

void find_broken_devices(Trend& trend, std::size_t place) {
  const TrendNight& night = trend.nights[place];
  for (const DeviceFigures& device : night.run.devices) {
    const std::string trouble = trouble_of(device);
    if (trouble.empty()) continue;
    TrendFinding finding = finding_of(night, FindingKind::broken_device, Cause::device);
    finding.unit = device.name;
    finding.release = device.release;
    finding.brief = fmt::format("{} broken on {}", device.name, night.name);
    finding.sentence = fmt::format(
        "In the night of {} {}{} {}{}. Its figures of that night are left out of baselines and "
        "tests.",
        night.name, device.name,
        where_text(trend, night.run.scenario, night.run.rig, night.run.surface), trouble,
        detection_beside(trend, finding, place));
    trend.findings.push_back(std::move(finding));
  }
}

/// Missing nights in a row of one rig are one finding.
void find_missing(Trend& trend) {
  std::map<std::string, std::vector<const TrendNight*>> by_rig;
  for (const TrendNight& night : trend.nights) {
    if (night.missing) by_rig[night.run.rig].push_back(&night);
  }
  for (const auto& [rig, nights] : by_rig) {
    for (std::size_t from = 0; from < nights.size();) {
      std::size_t to = from + 1;
      while (to < nights.size() && nights[to]->day == nights[to - 1]->day + 1) ++to;
      TrendFinding finding = finding_of(*nights[from], FindingKind::missing, Cause::no_run);
      for (std::size_t i = from + 1; i < to; ++i) finding.nights.push_back(nights[i]->name);
      const bool one = to == from + 1;
      const std::string when =
          one ? nights[from]->name
              : fmt::format("{} to {}", nights[from]->name, nights[to - 1]->name);
      finding.brief = fmt::format("no run on {}", when);
      finding.sentence = fmt::format(
          "Of the {} {}{} there is no run: the timer did not start one, or it was not taken into "
          "the archive.",
          one ? "night of" : "nights of", when, where_text(trend, "", rig, ""));
      trend.findings.push_back(std::move(finding));
      from = to;
    }
  }
}

}  // namespace

void find_facts(Trend& trend) {
  find_missing(trend);
  for (std::size_t i = 0; i < trend.nights.size(); ++i) {
    if (trend.nights[i].missing) continue;
    find_holes(trend, trend.nights[i]);
    find_bad_end(trend, trend.nights[i]);
    find_broken_devices(trend, i);
  }
}

}  // namespace plexor::analysis::history
