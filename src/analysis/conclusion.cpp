#include "analysis/conclusion.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <string>
#include <utility>

#include "analysis/number_text.hpp"

namespace plexor::analysis {
namespace {

using journal::Ended;

std::string with_detail(const std::string& sentence, const std::string& detail) {
  return detail.empty() ? sentence : fmt::format("{} ({})", sentence, detail);
}

/// Why the run as a whole can't pass, whatever its figures; empty if it can.
std::string ending_objection(const std::optional<Ended>& ended, bool is_live) {
  if (is_live) return "the run still goes on";
  if (!ended) return "the journal stops before the run was over";
  switch (ended->reason) {
    case Ended::Reason::complete: return {};
    case Ended::Reason::interrupted: return with_detail("the run was interrupted", ended->detail);
    case Ended::Reason::fault: return with_detail("the run ended with a fault", ended->detail);
    case Ended::Reason::too_many_voids:
      return with_detail("the run gave up after too many void trials", ended->detail);
  }
  return "the run ended in an unknown way";
}

std::string damage_objection(const journal::ReadSummary& reading) {
  const auto beyond_tail = [](const journal::Damage& damage) { return !damage.torn_tail; };
  const auto first = std::find_if(reading.damages.begin(), reading.damages.end(), beyond_tail);
  if (first == reading.damages.end()) return {};
  const auto torn = std::count_if(reading.damages.begin(), reading.damages.end(),
                                  [](const journal::Damage& damage) { return damage.torn_tail; });
  return fmt::format("the journal is damaged in {}, first at line {} ({})",
                     counted(reading.damage_count - static_cast<std::uint64_t>(torn), "place"),
                     first->line, first->what);
}

std::string void_objection(const Results& results) {
  if (results.void_fraction <= results.max_void_fraction) return {};
  return fmt::format("{} of all presentations were void (at most {} allowed)",
                     figure_text(results.void_fraction, ""),
                     limit_text(results.max_void_fraction, ""));
}

std::string plan_objection(const Results& results) {
  const bool complete = results.ended && results.ended->reason == Ended::Reason::complete;
  const std::uint64_t needed = results.trials_planned - results.trials_spared;
  if (!complete || results.trials_valid == needed) return {};
  return fmt::format("the journal holds {} of {} planned",
                     counted(results.trials_valid, "valid trial"), needed);
}

/// What it was to measure is the result.
bool measures_only(const Results& results) {
  return !results.header.lifted && std::any_of(results.devices.begin(), results.devices.end(),
                                               [](const auto& one) { return !one.curves.empty(); });
}

std::string limits_objection(const Results& results) {
  if (!results.verdicts.empty() || measures_only(results)) return {};
  return results.header.lifted ? "the scenario sets no limit that a lifted run can be judged by"
                               : "the scenario sets no limit";
}

std::vector<std::string> objections_to(const Results& results) {
  std::vector<std::string> objections{ending_objection(results.ended, results.is_live),
                                      damage_objection(results.reading), void_objection(results),
                                      plan_objection(results), limits_objection(results)};
  std::erase_if(objections, [](const std::string& objection) { return objection.empty(); });
  return objections;
}

bool is_judged(const Judged& judged, Judgement judgement) {
  return judged.verdict.judgement == judgement;
}

/// How far the judging bound clears its limit; never infinite for a passed one.
double margin(const Verdict& verdict) {
  const Interval& interval = *verdict.interval;
  const bool lower =
      interval.sides == Sides::two ? verdict.at_least : interval.sides == Sides::lower;
  return std::abs((lower ? interval.lower : interval.upper) - verdict.limit);
}

/// The verdict a reader should hear of first: the first that fails, else the first
/// undecided one; if all pass, the device that passes the first limit most narrowly.
const Judged& deciding(const std::vector<Judged>& judged) {
  for (const Judgement worst : {Judgement::fail, Judgement::undecided}) {
    const auto found = std::find_if(judged.begin(), judged.end(), [&](const Judged& candidate) {
      return is_judged(candidate, worst);
    });
    if (found != judged.end()) return *found;
  }
  const auto& first = judged.front().verdict.figure;
  const auto others = std::find_if(judged.begin(), judged.end(), [&](const Judged& candidate) {
    return candidate.verdict.figure != first;
  });
  return *std::min_element(judged.begin(), others, [](const Judged& a, const Judged& b) {
    return margin(a.verdict) < margin(b.verdict);
  });
}

Judgement overall_of(const std::vector<Judged>& judged, bool objections) {
  const auto any = [&](Judgement judgement) {
    return std::any_of(judged.begin(), judged.end(),
                       [&](const Judged& candidate) { return is_judged(candidate, judgement); });
  };
  // A run that is not what was planned proves neither side: stopping at a bad moment is a choice.
  if (objections) return Judgement::undecided;
  if (judged.empty()) return Judgement::measured;
  if (any(Judgement::fail)) return Judgement::fail;
  return any(Judgement::undecided) ? Judgement::undecided : Judgement::pass;
}

/// What to say where no limit leads the way: the first device's main figure.
std::string plain_figure(const Results& results) {
  if (results.devices.empty()) return "no device was heard";
  const DeviceResult& device = results.devices.front();
  if (measures_only(results) && !device.curves.empty()) {
    return fmt::format("{}, {}: {}", device.name, device.curves.front().rhythm,
                       device.curves.front().response.word);
  }
  const auto say = [&](std::string_view verb, const Proportion& share, std::string_view noun) {
    return fmt::format("{} {} {} of {} ({}, {} to {} with 95 % confidence)", device.name, verb,
                       share.x, counted(share.n, noun), figure_text(*share.estimate, ""),
                       figure_text(share.exact->lower, ""), figure_text(share.exact->upper, ""));
  };
  if (device.detection.n > 0) return say("heard", device.detection, "knock");
  if (device.false_responses.n > 0) {
    return say("answered", device.false_responses,
               results.header.lifted ? "lifted presentation" : "distractor");
  }
  return fmt::format("{} raised {} in {} of quiet", device.name,
                     counted(device.false_alarms.incidents, "false alarm"),
                     hours_text(device.false_alarms.hours));
}

/// "; 2 of 6 limits fail" where the headline's verdict is not alone.
std::string tally_words(const std::vector<Judged>& judged, Judgement overall) {
  if (judged.size() < 2 || overall == Judgement::undecided) return {};
  if (overall == Judgement::pass) {
    return judged.size() == 2 ? "; both limits pass"
                              : fmt::format("; all {} limits pass", judged.size());
  }
  const auto failed = std::count_if(judged.begin(), judged.end(), [](const Judged& candidate) {
    return is_judged(candidate, Judgement::fail);
  });
  return fmt::format("; {} of {} limits {}", failed, judged.size(), failed == 1 ? "fails" : "fail");
}

std::string headline_of(const std::vector<Judged>& judged, const Results& results,
                        const std::vector<std::string>& objections) {
  std::string word(results.is_live ? "so far" : to_text(results.overall));
  word.front() = static_cast<char>(word.front() - 'a' + 'A');
  std::string against;
  if (results.overall == Judgement::undecided && !objections.empty()) {
    against = fmt::format("{}; ", fmt::join(objections, ", and "));
  }
  if (judged.empty()) return fmt::format("{}: {}{}", word, against, plain_figure(results));
  const Judged& first = deciding(judged);
  // More trials mend no interruption or damage.
  const std::string more = objections.empty() ? what_would_decide(first.verdict) : "";
  return fmt::format("{}: {}{}{}{}{}", word, against, first.said, more.empty() ? "" : "; ", more,
                     tally_words(judged, results.overall));
}

}  // namespace

void conclude(Results& results, const std::vector<Judged>& judged) {
  for (const Judged& one : judged) results.verdicts.push_back(one.verdict);
  const std::vector<std::string> objections = objections_to(results);
  results.overall = overall_of(judged, !objections.empty());
  results.headline = headline_of(judged, results, objections);
}

}  // namespace plexor::analysis
