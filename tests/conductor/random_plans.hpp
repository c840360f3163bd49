#pragma once

#include <cstdint>
#include <string>

#include "base/random.hpp"
#include "conductor/scripted_rig.hpp"

namespace plexor::run {

/// Keyed draws of one plan, in order of asking.
class PlanDraws {
 public:
  explicit PlanDraws(int plan, std::uint64_t seed = 2029)
      : plan_(static_cast<std::uint32_t>(plan)), seed_(seed) {}

  std::int64_t whole(std::int64_t low, std::int64_t high) {
    return base::uniform_between({.seed = seed_, .trial = plan_, .tap = next_++}, low, high);
  }
  double real(double low, double high) {
    return low + (high - low) * static_cast<double>(whole(0, 1'000'000)) / 1e6;
  }
  bool chance(int percent) { return whole(1, 100) <= percent; }

 private:
  std::uint32_t plan_;
  std::uint64_t seed_;
  std::uint32_t next_ = 0;
};

/// A scenario file and a rig file, as a user would write them.
struct PlanTexts {
  std::string scenario;
  std::string rig;
};

/// Plan `number` of an endless series: mostly what a bench has, now and then a
/// corner (a tiny winding, a span of seconds, a dozen close taps, speeds beyond
/// the calibration). Duty, coil and energy limits are drawn about what the plan
/// roughly asks of them, so that they bind in many plans and not in many others.
[[nodiscard]] PlanTexts random_plan(int number);

/// What goes wrong in the run of plan `number`, so that up to a third of its trials are repeated.
[[nodiscard]] Script random_mishaps(int number);

}  // namespace plexor::run
