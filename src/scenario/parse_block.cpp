#include <fmt/format.h>

#include <cmath>
#include <set>
#include <utility>

#include "scenario/bounds.hpp"
#include "scenario/parse.hpp"

namespace plexor::scenario {

namespace {

using base::Duration;
using base::StrikeSpeed;
using base::TableReader;

constexpr auto* strike_key = "strike_m_s";

StrikeSpeed read_speed(TableReader& table, const std::string& key) {
  return base::strike_speed_from_m_s(table.number(key, strike_range_m_s));
}

Strength read_spread(TableReader& table) {
  refuse_keys(table, {"from", "to"}, "either mean and cv (a spread) or from and to (a ramp)");
  Strength strength{.kind = Strength::Kind::spread,
                    .values = {read_speed(table, "mean")},
                    .cv_ppm = std::llround(table.number("cv", {0.0, 10.0}) * 1e6)};
  if (const auto slowest = speed_range(strength).slowest; slowest.um_s <= 0) {
    table.fail("cv", fmt::format("a spread that reaches {} m/s at 3 sd", base::to_m_s(slowest)),
               "speeds above 0", "take a cv below 0.33");
  }
  return strength;
}

Strength read_ramp(TableReader& table) {
  refuse_keys(table, {"cv"}, "either mean and cv (a spread) or from and to (a ramp)");
  return {.kind = Strength::Kind::ramp,
          .values = {read_speed(table, "from"), read_speed(table, "to")}};
}

void read_up_and_down(TableReader& table, const Strength& range, Placing& placing) {
  placing.rule = Placing::Rule::up_and_down;
  placing.start = read_speed(table, "start");
  placing.step_ppm = std::llround(table.number("step", {0.01, 1.0}) * 1e6);
  const double ratio = 1.0 + static_cast<double>(placing.step_ppm) / 1e6;
  const double start = base::to_m_s(placing.start);
  if (start / ratio >= base::to_m_s(range.values[0]) &&
      start * ratio <= base::to_m_s(range.values[1])) {
    return;
  }
  table.fail("start", fmt::format("a start at {} m/s without a step both softer and harder", start),
             fmt::format("speeds from {} to {} m/s around it", start / ratio, start * ratio),
             "widen from and to, or take a smaller step");
}

/// { adaptive, from, to } with how far to go; up-and-down also where to start, and the step.
Strength read_adaptive(TableReader& table) {
  refuse_keys(table, {"mean", "cv"}, "adaptive, from, to, percent, precision, recheck");
  Strength strength{.kind = Strength::Kind::adaptive,
                    .values = {read_speed(table, "from"), read_speed(table, "to")}};
  constexpr double least_range = 1.1;
  const auto [from, to] = std::pair(strength.values[0], strength.values[1]);
  if (base::to_m_s(to) < least_range * base::to_m_s(from)) {
    table.fail("to",
               fmt::format("{} m/s after from = {} m/s", base::to_m_s(to), base::to_m_s(from)),
               "a range with a softest and a hardest strike, a tenth apart or more");
  }
  Placing& placing = strength.placing.emplace();
  const bool steps = table.choice("adaptive", {"bayesian", "up-and-down"}) == "up-and-down";
  if (!steps) refuse_keys(table, {"start", "step"}, "start and step with up-and-down only");
  if (steps) read_up_and_down(table, strength, placing);
  if (table.has("percent")) {
    placing.percent = table.whole("percent", 50, 95);
    if (placing.percent != 50 && placing.percent != 95) {
      table.fail("percent", fmt::format("{}", placing.percent), "50 or 95");
    }
  }
  if (table.has("precision")) {
    placing.precision_ppm = std::llround(table.number("precision", {0.005, 0.5}) * 1e6);
  }
  placing.recheck = static_cast<std::uint32_t>(
      table.has("recheck") ? table.whole("recheck", 0, max_trials_per_block) : 0);
  return strength;
}

/// strike_m_s: a number, a list in turn, { mean, cv }, { from, to } or { adaptive, from, to }.
Strength read_strength(TableReader& block) {
  if (block.is_table(strike_key)) {
    TableReader table = block.table(strike_key);
    expect_keys(table, {"mean", "cv", "from", "to", "adaptive", "start", "step", "percent",
                        "precision", "recheck"});
    if (table.has("adaptive")) return read_adaptive(table);
    refuse_keys(table, {"start", "step", "percent", "precision", "recheck"},
                "these keys beside adaptive only");
    if (!table.has("mean") && !table.has("from")) {
      block.fail(strike_key, "neither mean nor from",
                 "{ mean, cv }, { from, to } or { adaptive, from, to }");
    }
    return table.has("mean") ? read_spread(table) : read_ramp(table);
  }
  Strength strength;
  if (block.is_list(strike_key)) strength.kind = Strength::Kind::list;
  for (const double m_s : block.numbers(strike_key, strike_range_m_s)) {
    strength.values.push_back(base::strike_speed_from_m_s(m_s));
  }
  return strength;
}

/// The index of what `key` names; `what_to_add` says how it is defined.
template <typename Named>
std::uint32_t find_named(TableReader& block, const std::string& key,
                         const std::vector<Named>& defined, const std::string& what_to_add) {
  const std::string name = block.text(key);
  std::set<std::string> names;
  for (std::uint32_t i = 0; i < defined.size(); ++i) {
    if (defined[i].name == name) return i;
    names.insert(defined[i].name);
  }
  const std::string nearest = base::nearest_word(name, names);
  block.fail(key, fmt::format("the unknown {} \"{:.60}\"", key, name),
             names.empty() ? fmt::format("a {} of this file", key)
                           : fmt::format("one of {}", fmt::join(names, ", ")),
             nearest.empty() ? fmt::format(fmt::runtime(what_to_add), fmt::format("{:.60}", name))
                             : fmt::format("did you mean \"{}\"?", nearest));
}

/// gap_ms: a number, or [min, max] to draw from.
void read_gap(TableReader& table, Block& block) {
  const std::vector<Duration> gap = table.durations("gap_ms", {100.0, 3'600'000.0});
  if (gap.size() > 2 || gap.front() > gap.back()) {
    table.fail("gap_ms",
               gap.size() > 2 ? fmt::format("{} numbers", gap.size())
                              : fmt::format("[{}, {}]", in_ms(gap.front()), in_ms(gap.back())),
               "one number, or the least and the most in this order");
  }
  block.gap_min = gap.front();
  block.gap_max = gap.back();
}

Block read_quiet_block(TableReader& table) {
  refuse_keys(table, {"rhythm", "trials", "strike_m_s", "window_ms", "spot"},
              "in a quiet block: quiet_s, stretch_s and gap_ms only");
  Block block;
  block.quiet = true;
  const Duration total = table.duration("quiet_s", {1.0, 31'622'400.0});
  const Duration stretch =
      table.duration_or("stretch_s", {1.0, 86'400.0}, std::chrono::minutes{10});
  block.trials = static_cast<std::uint32_t>((total + stretch - Duration{1}) / stretch);
  block.last_window = total - (block.trials - 1) * stretch;
  block.window = std::min(stretch, total);
  block.gap_min = default_gap;
  block.gap_max = default_gap;
  if (table.has("gap_ms")) read_gap(table, block);
  return block;
}

void check_adaptive_block(const TableReader& table, const Block& block,
                          const std::vector<Rhythm>& rhythms) {
  if (rhythms[block.rhythm].is_distractor()) {
    table.fail(strike_key, "adaptive strikes of a distractor",
               "a rhythm that expects an event, whose strength is sought");
  }
  if (block.strength.placing->recheck >= block.trials) {
    table.fail("trials",
               fmt::format("{} trials, of which {} re-check", block.trials,
                           block.strength.placing->recheck),
               "more trials than re-check");
  }
  constexpr std::uint32_t most_adaptive = 10'000;
  if (block.trials > most_adaptive) {
    table.fail("trials", fmt::format("{} adaptive trials", block.trials),
               fmt::format("at most {}", most_adaptive));
  }
}

Block read_rhythm_block(TableReader& table, const std::vector<Rhythm>& rhythms) {
  refuse_keys(table, {"stretch_s"}, "in a block with a rhythm: none of the keys of quiet");
  Block block;
  block.rhythm = find_named(table, "rhythm", rhythms, "add [rhythm.{}]");
  block.trials = static_cast<std::uint32_t>(table.whole("trials", 1, max_trials_per_block));
  block.strength = read_strength(table);
  if (block.strength.kind == Strength::Kind::ramp && block.trials < 2) {
    table.fail(strike_key, "a ramp over one trial", "at least 2 trials");
  }
  if (block.is_adaptive()) check_adaptive_block(table, block, rhythms);
  block.window = table.duration("window_ms", {1.0, 60'000.0});
  block.last_window = block.window;
  read_gap(table, block);
  if (block.gap_min < block.window) {
    table.fail("gap_ms",
               fmt::format("a gap of {} shorter than the window of {}", in_ms(block.gap_min),
                           in_ms(block.window)),
               "a gap that holds the window (both begin at the last contact)");
  }
  return block;
}

}  // namespace

Block read_block(TableReader& table, const std::vector<Rhythm>& rhythms,
                 const std::vector<Spot>& spots) {
  expect_keys(table, {"rhythm", "trials", "strike_m_s", "window_ms", "gap_ms", "quiet_s",
                      "stretch_s", "spot"});
  if (table.has("quiet_s")) return read_quiet_block(table);
  if (!table.has("rhythm")) {
    table.fail("rhythm", "neither rhythm nor quiet_s", "one of the two", "say what the block does");
  }
  Block block = read_rhythm_block(table, rhythms);
  if (!spots.empty() || table.has("spot")) {
    block.spot = find_named(table, "spot", spots, "add [[spot]] with the name \"{}\"");
  }
  return block;
}

}  // namespace plexor::scenario
