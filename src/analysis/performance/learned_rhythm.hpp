#pragma once

#include <optional>
#include <string>

#include "analysis/performance/knock_strength.hpp"
#include "analysis/performance/timing.hpp"
#include "scenario/scenario.hpp"

namespace plexor::analysis {

/// What a person knocked, as a scenario says it. Draws are truncated at 3 sd, which takes 1.3 % off
/// the spread: it is made up for, so that what is drawn has the spread that was measured.
struct LearnedRhythm {
  scenario::Rhythm rhythm{};
  scenario::Jitter jitter{};
  std::optional<double> strike_cv{};
  /// Why a scenario would refuse this jitter, or a strike with this spread; empty otherwise.
  std::string jitter_refused{};
  std::string strike_refused{};
};

/// `name` is a rhythm's (scenario::expected_rhythm_name). Throws base::InputError where a scenario
/// can't hold such a rhythm: too many knocks, too long.
[[nodiscard]] LearnedRhythm learned_rhythm(const std::string& name, const RhythmTiming& timing,
                                           const std::optional<KnockStrength>& strength);

/// The tables [rhythm.NAME] and [jitter] of a scenario file, with the figures' intervals as
/// comments. What a scenario would refuse stands in a comment, with the reason.
[[nodiscard]] std::string scenario_text(const LearnedRhythm& learned, const RhythmTiming& timing,
                                        const std::optional<KnockStrength>& strength);

}  // namespace plexor::analysis
