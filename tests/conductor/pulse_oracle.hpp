#pragma once

#include <array>
#include <cstddef>
#include <string_view>
#include <vector>

#include "base/pulse.hpp"
#include "rig/rig_file.hpp"

namespace plexor::run {

/// The limits that a pulse can break.
enum class Kind : std::uint8_t { length, rest, duty, coil, energy };
inline constexpr std::size_t kinds = 5;
/// In the words of safety::Refusal.
inline constexpr std::array<std::string_view, kinds> kind_names{
    "pulse length", "rest", "duty", "coil temperature", "impact energy"};

enum class Verdict : std::uint8_t { kept, doubtful, broken };

/// What one pulse does to each limit.
class Judgement {
 public:
  Verdict& operator[](Kind kind) { return verdicts_[static_cast<std::size_t>(kind)]; }
  [[nodiscard]] Verdict of(Kind kind) const { return verdicts_[static_cast<std::size_t>(kind)]; }
  [[nodiscard]] bool any(Verdict verdict) const;

 private:
  std::array<Verdict, kinds> verdicts_{};
};

/// Judges pulses one after another and shares no code with src/safety: the duty
/// by looking at every earlier pulse, the coil by Runge-Kutta steps, the strike
/// by reading the calibration backwards.
///
/// Doubtful is what the check may see either way: a duty within 1 ns and an
/// energy within 1e-5 of the limit; a winding no more than 1 uK above its limit
/// (rounding of both sides), or below it by no more than what thermal.hpp states
/// for the hot side of its 5 ms steps.
class PulseOracle {
 public:
  explicit PulseOracle(const rig::RigFile& rig);

  Judgement take(const base::Pulse& pulse);

 private:
  /// What the nodes have, or gain in a second.
  struct Nodes {
    double winding = 0.0;
    double body = 0.0;
  };

  [[nodiscard]] Nodes slope(const Nodes& at, bool on) const;
  void step(double seconds, bool on);
  void pass(base::Duration elapsed, bool on);
  [[nodiscard]] Verdict duty(const base::Pulse& pulse) const;
  [[nodiscard]] Verdict coil(const base::Pulse& pulse);
  [[nodiscard]] Verdict energy(const base::Pulse& pulse) const;
  [[nodiscard]] double hot_side_k(double limit_c) const;

  const rig::RigFile& rig_;
  std::vector<base::Pulse> taken_;
  Nodes coil_c_;
  base::Instant coil_at_ = base::segment_start;
  double hottest_c_;
};

}  // namespace plexor::run
