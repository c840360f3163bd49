#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <memory>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "analysis/number_text.hpp"
#include "analysis/performance/knock_strength.hpp"
#include "analysis/performance/knocks.hpp"
#include "analysis/performance/learned_rhythm.hpp"
#include "analysis/performance/timing.hpp"
#include "app/aside.hpp"
#include "app/commands.hpp"
#include "app/hear_knocks.hpp"
#include "app/knock_file.hpp"
#include "app/rig_loading.hpp"
#include "app/stop_signals.hpp"
#include "base/error.hpp"
#include "report/layout.hpp"
#include "run/file_replacement.hpp"
#include "scenario/parse.hpp"
#include "scenario/scenario.hpp"

namespace plexor::app {

namespace {

constexpr double confidence = 0.95;
constexpr int terminal_width = 100;

struct LearnOptions {
  std::string from;
  std::string rig;
  std::string rhythm;
  std::string out;
  std::string time_unit = "s";
  double rate_hz = 0.0;
  double threshold = 0.0;
  double lockout_ms = 60.0;
  double pause_s = 1.5;
  std::size_t times = 12;
  bool knocks = false;
  bool json = false;
};

/// What was heard, and what is to be said about how.
struct Heard {
  std::vector<analysis::Knock> knocks{};
  std::vector<std::string> how{};
  std::vector<std::string> warnings{};
  bool was_stopped = false;
};

struct Learned {
  analysis::Performances performances{};
  analysis::RhythmTiming timing{};
  std::optional<analysis::KnockStrength> strength{};
  analysis::LearnedRhythm rhythm{};
  std::string text{};
};

void check_options(const LearnOptions& options) {
  const std::string expected = scenario::expected_rhythm_name(options.rhythm);
  if (!expected.empty()) {
    throw base::InputError({"--rhythm", 0, 0}, fmt::format("\"{:.60}\"", options.rhythm), expected);
  }
  if (!options.out.empty() && std::filesystem::exists(options.out)) {
    throw base::InputError(options.out + ": is there already; choose another --out");
  }
}

double seconds_per(const std::string& unit) { return unit == "s" ? 1.0 : 1e-3; }

void warn_of_sampling(Heard& heard, const std::vector<double>& times_s) {
  constexpr double coarse_s = 0.002;
  constexpr double is_a_gap = 3.0;
  const double spacing = analysis::usual_spacing(times_s);
  if (spacing > coarse_s) {
    heard.warnings.push_back(
        fmt::format("samples are {:.1f} ms apart, and a knock's instant is no better known: that "
                    "adds {:.1f} ms to "
                    "the motor delays",
                    spacing * 1e3, spacing * 1e3 / std::sqrt(12.0)));
  }
  std::size_t gaps = 0;
  for (std::size_t i = 1; i < times_s.size(); ++i) {
    if (times_s[i] - times_s[i - 1] > is_a_gap * spacing) ++gaps;
  }
  if (gaps > 0) {
    heard.warnings.push_back(fmt::format("{} in the samples: knocks may be missing there",
                                         analysis::counted(gaps, "gap")));
  }
}

Heard heard_in_file(const LearnOptions& options) {
  const KnockFileFormat format{
      .seconds_per_unit = seconds_per(options.time_unit),
      .rate_hz = options.rate_hz > 0.0 ? std::optional(options.rate_hz) : std::nullopt,
      .knocks = options.knocks};
  KnockFile file = read_knock_file(options.from, format);
  if (options.knocks) return {.knocks = std::move(file.knocks)};
  const auto found = analysis::find_knocks(
      file.times_s, file.values,
      {.threshold = options.threshold > 0.0 ? std::optional(options.threshold) : std::nullopt,
       .lockout_s = options.lockout_ms / 1e3});
  if (!found) {
    throw base::InputError({options.from, 0, 0}, analysis::counted(file.values.size(), "sample"),
                           "at least 16, most of them at rest");
  }
  Heard heard{.knocks = found->knocks};
  heard.how.push_back(
      fmt::format("{} in {}, by a threshold of {:.4g} about {:.4g} (noise {:.2g} rms).",
                  analysis::counted(found->knocks.size(), "knock"),
                  analysis::counted(file.values.size(), "sample"), found->threshold,
                  found->baseline, found->noise_rms));
  warn_of_sampling(heard, file.times_s);
  return heard;
}

Heard heard_on_rig(const LearnOptions& options) {
  const LoadedRig loaded = load_rig(options.rig);
  const StopSignals stop;
  Heard heard{.knocks = hear_knocks(loaded.rig,
                                    {.times = options.times,
                                     .pause_s = options.pause_s,
                                     .lockout_s = options.lockout_ms / 1e3},
                                    [&stop] { return stop.requested(); })};
  heard.was_stopped = stop.requested();
  return heard;
}

/// What nobody could read must not be written.
void check_in_scenario(const LearnOptions& options, const std::string& text) {
  const std::string scenario = fmt::format(
      "{}\n[scenario]\nname = \"learned\"\npurpose = \"regression\"\nseed = 1\n[[block]]\n"
      "rhythm = \"{}\"\ntrials = 1\nstrike_m_s = 0.9\nwindow_ms = 1000\ngap_ms = [1000, 2000]\n",
      text, options.rhythm);
  (void)scenario::parse_scenario(scenario, "learned rhythm");
}

Learned learned_from(const LearnOptions& options, const Heard& heard) {
  Learned learned;
  learned.performances = analysis::performances_of(heard.knocks, options.pause_s);
  const auto& kept = learned.performances.kept;
  const base::Place place{options.from.empty() ? options.rig : options.from, 0, 0};
  if (learned.performances.knocks_each < 2) {
    throw base::InputError(
        place,
        heard.knocks.empty()
            ? "no knocks"
            : fmt::format("{}, most of them single", analysis::counted(kept.size(), "performance")),
        "performances of at least two knocks", "look at --threshold, --lockout-ms and --pause-s");
  }
  if (kept.size() < analysis::fewest_performances) {
    throw base::InputError(
        place,
        fmt::format("{} of {} knocks", analysis::counted(kept.size(), "performance"),
                    learned.performances.knocks_each),
        fmt::format("at least {}, better {}", analysis::fewest_performances,
                    analysis::enough_performances),
        fmt::format("knock more often, with more than {:g} s of silence between (--pause-s)",
                    options.pause_s));
  }
  learned.timing = analysis::timing_of(kept, confidence);
  learned.strength = analysis::knock_strength(kept, confidence);
  learned.rhythm = analysis::learned_rhythm(options.rhythm, learned.timing, learned.strength);
  learned.text = analysis::scenario_text(learned.rhythm, learned.timing, learned.strength);
  check_in_scenario(options, learned.text);
  return learned;
}

std::vector<std::string> warnings_of(const Heard& heard, const Learned& learned) {
  std::vector<std::string> warnings = heard.warnings;
  for (const auto& performance : learned.performances.left_out) {
    warnings.push_back(fmt::format(
        "performance {} has {}, the others {}: it is left out", performance.number,
        analysis::counted(performance.knocks.size(), "knock"), learned.performances.knocks_each));
  }
  constexpr double clear_ratio = 1.5;
  const auto& pause = learned.performances.shortest_pause_s;
  if (pause && *pause < clear_ratio * learned.performances.longest_interval_s) {
    warnings.push_back(fmt::format(
        "the shortest pause ({:.2f} s) is hardly longer than the longest interval ({:.2f} s): look "
        "whether --pause-s splits the performances rightly",
        *pause, learned.performances.longest_interval_s));
  }
  const auto& of_timing = learned.timing.warnings;
  warnings.insert(warnings.end(), of_timing.begin(), of_timing.end());
  if (!learned.rhythm.jitter_refused.empty()) {
    warnings.push_back("a scenario would refuse this jitter, so it is written as a comment: " +
                       learned.rhythm.jitter_refused);
  }
  if (!learned.rhythm.strike_refused.empty()) {
    warnings.push_back("a scenario would refuse this spread of strikes: " +
                       learned.rhythm.strike_refused);
  }
  return warnings;
}

std::string with_interval(const analysis::Estimated& estimated, double factor, int decimals,
                          const char* unit) {
  return fmt::format("{:.{}f}{} ({:.{}f} to {:.{}f})", factor * estimated.value, decimals, unit,
                     factor * estimated.interval.lower, decimals, factor * estimated.interval.upper,
                     decimals);
}

std::string answer(const LearnOptions& options, const Learned& learned) {
  const analysis::RhythmTiming& timing = learned.timing;
  const std::string motor =
      timing.parts.motor_sd_ms
          ? fmt::format(", the motor delays by {:.1f} ms", timing.parts.motor_sd_ms->value)
          : "";
  return fmt::format(
      "\"{}\", from {} of {} knocks: {:.0f} ms long; the clock spreads by {:.1f} % of an "
      "interval{}.\n",
      options.rhythm, analysis::counted(timing.performances, "performance"), timing.knocks,
      base::to_ms(learned.rhythm.rhythm.length()), 100.0 * timing.parts.clock_cv.value, motor);
}

std::string interval_table(const analysis::RhythmTiming& timing) {
  std::vector<std::vector<std::string>> rows{{"interval", "mean", "95 % interval", "sd"}};
  for (std::size_t place = 0; place < timing.places.size(); ++place) {
    const analysis::PlaceTiming& one = timing.places[place];
    rows.push_back(
        {fmt::format("{} to {}", place + 1, place + 2), fmt::format("{:.1f} ms", one.mean_ms.value),
         fmt::format("{:.1f} to {:.1f}", one.mean_ms.interval.lower, one.mean_ms.interval.upper),
         fmt::format("{:.1f} ms", one.sd_ms)});
  }
  return report::table(rows);
}

std::string part_lines(const Learned& learned) {
  const analysis::RhythmTiming& timing = learned.timing;
  std::string text = fmt::format("clock         {} of the interval\n",
                                 with_interval(timing.parts.clock_cv, 100.0, 1, " %"));
  if (timing.parts.motor_sd_ms) {
    text +=
        fmt::format("motor delays  {}\n", with_interval(*timing.parts.motor_sd_ms, 1.0, 1, " ms"));
  }
  if (timing.parts.tempo_cv) {
    text += fmt::format("tempo         {} between performances; replayed as the clock's\n",
                        with_interval(*timing.parts.tempo_cv, 100.0, 1, " %"));
  }
  text += fmt::format("drift         {} slower with each performance\n",
                      with_interval(timing.drift, 100.0, 2, " %"));
  if (timing.drift_within) {
    text += fmt::format("within        {} longer with each interval\n",
                        with_interval(*timing.drift_within, 100.0, 2, " %"));
  }
  if (learned.strength) {
    std::string accents;
    for (const double accent : learned.strength->accents) {
      accents += fmt::format("{}{:.2f}", accents.empty() ? "" : ", ", accent);
    }
    text += fmt::format("strength      cv {}; accents {}\n",
                        with_interval(learned.strength->cv, 1.0, 3, ""), accents);
  }
  return text;
}

nlohmann::json json_of(const analysis::Estimated& estimated) {
  return {{"value", estimated.value},
          {"lower", estimated.interval.lower},
          {"upper", estimated.interval.upper},
          {"confidence", estimated.interval.confidence},
          {"method", estimated.interval.method}};
}

nlohmann::json document(const LearnOptions& options, const Heard& heard, const Learned& learned) {
  const analysis::RhythmTiming& timing = learned.timing;
  nlohmann::json intervals = nlohmann::json::array();
  for (const analysis::PlaceTiming& place : timing.places) {
    intervals.push_back({{"mean_ms", json_of(place.mean_ms)}, {"sd_ms", place.sd_ms}});
  }
  std::vector<double> contacts_ms;
  for (const base::Duration contact : learned.rhythm.rhythm.contacts) {
    contacts_ms.push_back(base::to_ms(contact));
  }
  nlohmann::json all{{"rhythm", options.rhythm},
                     {"performances", timing.performances},
                     {"left_out", learned.performances.left_out.size()},
                     {"knocks", timing.knocks},
                     {"contacts_ms", contacts_ms},
                     {"intervals", intervals},
                     {"clock_cv", json_of(timing.parts.clock_cv)},
                     {"drift_per_performance", json_of(timing.drift)},
                     {"jitter",
                      {{"tempo_cv", static_cast<double>(learned.rhythm.jitter.tempo_cv_ppm) * 1e-6},
                       {"motor_sd_ms", base::to_ms(learned.rhythm.jitter.motor_sd)},
                       {"refused", learned.rhythm.jitter_refused}}},
                     {"warnings", warnings_of(heard, learned)},
                     {"scenario", learned.text}};
  if (timing.parts.motor_sd_ms) all["motor_sd_ms"] = json_of(*timing.parts.motor_sd_ms);
  if (timing.parts.tempo_cv) all["tempo_cv_between"] = json_of(*timing.parts.tempo_cv);
  if (timing.drift_within) all["drift_per_interval"] = json_of(*timing.drift_within);
  if (learned.strength) {
    all["strength"] = {{"mean", learned.strength->mean},
                       {"cv", json_of(learned.strength->cv)},
                       {"accents", learned.strength->accents}};
  }
  return all;
}

void print_text(const LearnOptions& options, const Heard& heard, const Learned& learned) {
  fmt::print("{}", answer(options, learned));
  for (const std::string& how : heard.how) fmt::print("{}\n", how);
  fmt::print("\n{}\n{}\n", interval_table(learned.timing), part_lines(learned));
  for (const std::string& warning : warnings_of(heard, learned)) {
    fmt::print("{}", report::wrapped("Caution: " + warning + ".", 0, terminal_width));
  }
  if (options.out.empty()) {
    fmt::print("\nFor a scenario:\n\n{}", learned.text);
  } else {
    fmt::print("Written to {}: put it into a scenario.\n", options.out);
  }
}

ExitCode learn(const LearnOptions& options) {
  check_options(options);
  const Heard heard = options.rig.empty() ? heard_in_file(options) : heard_on_rig(options);
  if (heard.was_stopped) {
    const auto performances = analysis::performances_of(heard.knocks, options.pause_s);
    say_aside("Stopped after {} of {}.\n", performances.kept.size(), options.times);
    if (performances.kept.size() < analysis::fewest_performances || performances.knocks_each < 2) {
      say_aside("Too few to learn from; nothing was written.\n");
      return ExitCode::undecided;
    }
  }
  const Learned learned = learned_from(options, heard);
  if (!options.out.empty()) run::replace_file(options.out, learned.text);
  if (options.json) {
    fmt::print("{}\n", document(options, heard, learned).dump(2));
  } else {
    print_text(options, heard, learned);
  }
  return heard.was_stopped ? ExitCode::undecided : ExitCode::pass;
}

}  // namespace

CommandBody add_learn_command(CLI::App& parser) {
  const auto options = std::make_shared<LearnOptions>();
  auto* source = parser.add_option_group("source");
  source->add_option("--from", options->from,
                     "Recorded samples, time,value a line, or knocks; - is standard input");
  source->add_option("--rig", options->rig,
                     "Rig file of kind \"lines\": knocks on its contact line, now");
  source->require_option(1);
  parser.add_option("--rhythm", options->rhythm, "Name of the rhythm in the scenario")->required();
  parser.add_option("--out", options->out, "File for the scenario's tables; else they are printed");
  parser.add_option("--times", options->times, "With --rig: end after so many performances")
      ->check(CLI::Range(3, 1000))
      ->capture_default_str();
  parser.add_option("--rate-hz", options->rate_hz, "Lines are values alone, so many in a second")
      ->check(CLI::Range(10.0, 1e6));
  parser.add_flag("--knocks", options->knocks, "Lines are knocks: time, or time,strength");
  parser.add_option("--time-unit", options->time_unit, "Of the file's times")
      ->check(CLI::IsMember({"s", "ms"}))
      ->capture_default_str();
  parser
      .add_option("--threshold", options->threshold,
                  "What counts as a knock, away from the baseline; else it follows from the noise")
      ->check(CLI::PositiveNumber);
  parser
      .add_option("--lockout-ms", options->lockout_ms,
                  "What comes sooner after a knock is its ringing")
      ->check(CLI::Range(1.0, 1000.0))
      ->capture_default_str();
  parser.add_option("--pause-s", options->pause_s, "So much silence ends a performance")
      ->check(CLI::Range(0.1, 60.0))
      ->capture_default_str();
  parser.add_flag("--json", options->json, "Print one JSON document instead of text");
  parser.footer(
      "Hears a person knock a rhythm several times and writes it, with its spread, for a "
      "scenario.\n"
      "Moves nothing.\n"
      "Example: plexor learn --from knocks.csv --rhythm shave --out shave.toml");
  return [options] { return learn(*options); };
}

}  // namespace plexor::app
