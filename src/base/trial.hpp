#pragma once

#include <cstdint>
#include <string_view>
#include <vector>

#include "base/strike_speed.hpp"
#include "base/time.hpp"

namespace plexor::base {

/// What a trial is for.
enum class TrialKind : std::uint8_t {
  rhythm,     ///< a rhythm (or distractor) with its response window
  quiet,      ///< a stretch of listening without taps
  reference,  ///< taps that watch the tapper itself for drift; no device is judged by them
};

/// One strike of a trial as planned.
struct Tap {
  Duration contact{};  ///< after the trial's first contact; the first tap's is 0
  StrikeSpeed strike;  ///< commanded speed at contact

  bool operator==(const Tap&) const = default;
};

/// Names one trial of a run. A repeated (formerly void) trial keeps block and
/// number and counts its attempts, so that runs of one seed pair trial by trial.
struct TrialId {
  std::uint32_t block =
      0;  ///< index of the block in the scenario; reference_block for reference taps
  std::uint32_t number = 0;   ///< within the block, from 0
  std::uint32_t attempt = 0;  ///< 0 for the first presentation

  auto operator<=>(const TrialId&) const = default;
};

inline constexpr std::uint32_t reference_block = 0xffff;

/// One planned presentation: all draws made, nothing yet moved.
struct Trial {
  TrialId id;
  TrialKind kind = TrialKind::rhythm;
  std::uint32_t rhythm =
      0;                  ///< index into the scenario's rhythms; meaningless unless kind is rhythm
  std::vector<Tap> taps;  ///< in time order; empty in quiet
  Duration window{};      ///< rhythm: listening after the last contact; quiet: the stretch's length
  Duration gap{};         ///< from the last contact (quiet: from its end) to the next trial's first
                          ///< contact; >= window for rhythms

  bool operator==(const Trial&) const = default;
};

/// "rhythm", "quiet", "reference".
[[nodiscard]] std::string_view to_text(TrialKind kind);

}  // namespace plexor::base
