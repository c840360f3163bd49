#include "analysis/performance/learned_rhythm.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>

#include "base/basic_math.hpp"
#include "base/error.hpp"
#include "base/random.hpp"
#include "scenario/bounds.hpp"

namespace plexor::analysis {
namespace {

constexpr double longest_rhythm_ms = 60'000.0;  // of a scenario
constexpr double largest_cv = 0.33;

/// The sd of a normal deviate truncated as the planner's draws are.
double truncated_sd() {
  constexpr double bound = base::truncation_sd;
  const double inside = 1.0 - 2.0 * base::normal_upper_tail(bound);
  return std::sqrt(1.0 - 2.0 * bound * base::normal_density(bound) / inside);
}

double rounded(double value, double to) { return std::round(value / to) * to; }

base::Duration from_ms(double ms) {
  constexpr double ns_per_ms = 1e6;
  return base::Duration{std::llround(ms * ns_per_ms)};
}

std::vector<base::Duration> contacts_of(const std::string& name, const RhythmTiming& timing) {
  constexpr double resolution_ms = 0.1;
  if (timing.knocks > scenario::max_taps_per_rhythm) {
    throw base::InputError({"rhythm " + name, 0, 0}, fmt::format("{} knocks", timing.knocks),
                           fmt::format("at most {}", scenario::max_taps_per_rhythm));
  }
  std::vector<base::Duration> contacts{base::Duration::zero()};
  double at_ms = 0.0;
  for (const PlaceTiming& place : timing.places) {
    at_ms += place.mean_ms.value;
    contacts.push_back(from_ms(rounded(at_ms, resolution_ms)));
  }
  if (at_ms > longest_rhythm_ms) {
    throw base::InputError({"rhythm " + name, 0, 0},
                           fmt::format("a length of {:.1f} s", at_ms / 1e3),
                           fmt::format("at most {:.0f} s", longest_rhythm_ms / 1e3));
  }
  return contacts;
}

/// "" for a jitter that a scenario takes.
std::string refusal_of(const scenario::Rhythm& rhythm, const scenario::Jitter& jitter) {
  if (jitter.tempo_cv_ppm > std::llround(largest_cv * 1e6)) {
    return fmt::format(
        "the clock spreads by {:.0f} % of the interval, and a scenario takes at most {:.0f} %",
        static_cast<double>(jitter.tempo_cv_ppm) / 1e4, largest_cv * 100.0);
  }
  for (std::size_t k = 1; k < rhythm.contacts.size(); ++k) {
    const base::Duration shortest = scenario::shortest_interval(rhythm, jitter, k);
    if (shortest > base::Duration::zero()) continue;
    return fmt::format(
        "draws reach 3 sd, and knock {} could come before knock {}: their {:.1f} ms could shrink "
        "to "
        "{:.1f} ms",
        k + 1, k, base::to_ms(scenario::nominal_interval(rhythm, k)), base::to_ms(shortest));
  }
  return "";
}

std::string range_text(const Estimated& estimated, double factor, int decimals) {
  return fmt::format("{:.{}f} to {:.{}f}", factor * estimated.interval.lower, decimals,
                     factor * estimated.interval.upper, decimals);
}

std::string contacts_text(const scenario::Rhythm& rhythm) {
  std::string text;
  for (const base::Duration contact : rhythm.contacts) {
    text += fmt::format("{}{:.6g}", text.empty() ? "" : ", ", base::to_ms(contact));
  }
  return text;
}

std::string rhythm_text(const LearnedRhythm& learned, const RhythmTiming& timing) {
  std::string text = fmt::format(
      "# Knocked by a person: {} performances of {} knocks. In brackets: {:g} % intervals.\n"
      "[rhythm.{}]\ncontacts_ms = [{}]\n",
      timing.performances, timing.knocks, 100.0 * timing.drift.interval.confidence,
      learned.rhythm.name, contacts_text(learned.rhythm));
  for (std::size_t place = 0; place < timing.places.size(); ++place) {
    const PlaceTiming& one = timing.places[place];
    text += fmt::format("# interval {}: {:.1f} ms ({}), sd {:.1f} ms\n", place + 1,
                        one.mean_ms.value, range_text(one.mean_ms, 1.0, 1), one.sd_ms);
  }
  return text;
}

std::string jitter_text(const LearnedRhythm& learned, const RhythmTiming& timing) {
  const VarianceParts& parts = timing.parts;
  const std::string out = learned.jitter_refused.empty() ? "" : "# ";
  std::string text =
      "\n# Holds for all rhythms of a scenario. Draws are truncated at 3 sd; that is made up "
      "for.\n";
  if (!out.empty()) {
    text += fmt::format("# A scenario would refuse it: {}.\n", learned.jitter_refused);
  }
  text += fmt::format("# clock {:.2f} % of the interval ({})\n", 100.0 * parts.clock_cv.value,
                      range_text(parts.clock_cv, 100.0, 2));
  if (parts.tempo_cv) {
    text += fmt::format("# tempo of whole performances {:.2f} % ({}): put into tempo_cv\n",
                        100.0 * parts.tempo_cv->value, range_text(*parts.tempo_cv, 100.0, 2));
  }
  text += parts.motor_sd_ms
              ? fmt::format("# motor delays {:.2f} ms ({})\n", parts.motor_sd_ms->value,
                            range_text(*parts.motor_sd_ms, 1.0, 2))
              : "# motor delays can't be told from the clock by a single interval: all is the "
                "clock's\n";
  text += fmt::format(
      "{0}[jitter]\n{0}model = \"human\"\n{0}tempo_cv = {1:.4f}\n{0}motor_sd_ms = {2:.2f}\n", out,
      static_cast<double>(learned.jitter.tempo_cv_ppm) * 1e-6,
      base::to_ms(learned.jitter.motor_sd));
  return text;
}

std::string strike_text(const LearnedRhythm& learned, const KnockStrength& strength) {
  std::string accents;
  for (const double accent : strength.accents) {
    accents += fmt::format("{}{:.2f}", accents.empty() ? "" : ", ", accent);
  }
  std::string text = fmt::format(
      "\n# For a [[block]] of this rhythm. The mean is yours to choose: a sensor's unit is no "
      "m/s.\n"
      "# cv {:.3f} ({}) about each knock's own mean; accents {}, which no scenario replays\n",
      strength.cv.value, range_text(strength.cv, 1.0, 3), accents);
  if (!learned.strike_refused.empty()) {
    text += fmt::format("# A scenario would refuse it: {}.\n", learned.strike_refused);
  }
  return text + fmt::format("# strike_m_s = {{ mean = 0.9, cv = {:.3f} }}\n", *learned.strike_cv);
}

}  // namespace

LearnedRhythm learned_rhythm(const std::string& name, const RhythmTiming& timing,
                             const std::optional<KnockStrength>& strength) {
  LearnedRhythm learned;
  learned.rhythm = {.name = name, .contacts = contacts_of(name, timing), .expects = name};
  const double made_up = 1.0 / truncated_sd();
  constexpr double ppm_written = 100.0;  // of four decimals
  constexpr double resolution_ms = 0.01;
  learned.jitter.model = scenario::Jitter::Model::human;
  learned.jitter.tempo_cv_ppm =
      std::llround(rounded(timing.parts.replay_clock_cv * made_up * 1e6, ppm_written));
  learned.jitter.motor_sd =
      from_ms(rounded(timing.parts.replay_motor_sd_ms * made_up, resolution_ms));
  learned.jitter_refused = refusal_of(learned.rhythm, learned.jitter);
  if (!strength) return learned;
  constexpr double cv_written = 0.001;
  learned.strike_cv = rounded(strength->cv.value * made_up, cv_written);
  if (*learned.strike_cv > largest_cv) {
    learned.strike_refused =
        "draws reach 3 sd, and some strikes would have no speed; a cv is below 0.33";
  }
  return learned;
}

std::string scenario_text(const LearnedRhythm& learned, const RhythmTiming& timing,
                          const std::optional<KnockStrength>& strength) {
  std::string text = rhythm_text(learned, timing) + jitter_text(learned, timing);
  if (strength) text += strike_text(learned, *strength);
  return text;
}

}  // namespace plexor::analysis
