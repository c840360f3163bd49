#include <gtest/gtest.h>

#include <algorithm>
#include <string>
#include <vector>

#include "base/random.hpp"
#include "safety/example_tapper.hpp"

// Random pulse trains on random tappers: the check against a plain simulation that
// walks every millisecond and knows nothing of prefix sums or matrix exponentials.

namespace plexor::safety {
namespace {

using base::Pulse;
using ms = std::chrono::milliseconds;

constexpr double thermal_tolerance_k = 0.05;

/// Keyed draws for one train, in order of asking.
class Draws {
 public:
  explicit Draws(std::uint32_t train) : train_(train) {}
  std::int64_t whole(std::int64_t low, std::int64_t high) {
    return base::uniform_between({.seed = 1959, .trial = train_, .tap = next_++}, low, high);
  }
  ms time(std::int64_t low, std::int64_t high) { return ms{whole(low, high)}; }
  double real(double low, double high) {
    return low + (high - low) * static_cast<double>(whole(0, 1'000'000)) / 1e6;
  }

 private:
  std::uint32_t train_;
  std::uint32_t next_ = 0;
};

struct Tapper {
  Limits limits = example_limits();
  CoilModel coil = example_coil();
};

Tapper random_tapper(Draws& draws) {
  Tapper tapper;
  Limits& limits = tapper.limits;
  limits.duty_span = draws.time(500, 4000);
  limits.duty_percent = static_cast<double>(draws.whole(5, 40));
  const auto allowed = limits.duty_span.count() / 1'000'000 * draws.whole(4, 100) / 100;
  limits.max_on_in_span = ms{std::max<std::int64_t>(allowed, 20)};
  limits.max_pulse = draws.time(5, 20);
  limits.min_rest = draws.time(1, 60);
  limits.max_coil_c = draws.real(40.0, 120.0);
  limits.coil_margin_k = draws.real(0.0, 10.0);
  tapper.coil.supply_v = draws.real(12.0, 30.0);
  tapper.coil.winding_j_k = draws.real(0.2, 3.0);
  tapper.coil.body_j_k = draws.real(2.0, 40.0);
  tapper.coil.winding_to_body_k_w = draws.real(2.0, 40.0);
  return tapper;
}

/// The rig as a clockwork: one tick is a millisecond.
class Clockwork {
 public:
  explicit Clockwork(const Tapper& tapper) : tapper_(tapper), state_(cold(tapper.coil)) {}

  /// Plays pulses that begin at or after the last tick, in whole milliseconds.
  void play(const Pulse& pulse) {
    const std::int64_t on = pulse.on.time_since_epoch() / ms{1};
    while (now() < on) tick(false);
    hottest_c_ = std::max(hottest_c_, state_.winding_c);
    for (std::int64_t i = 0; i < pulse.on_time / ms{1}; ++i) {
      tick(true);
      hottest_c_ = std::max(hottest_c_, state_.winding_c);
      longest_on_ = std::max(longest_on_, on_in_span_);
    }
  }

  [[nodiscard]] bool over_duty() const {
    const Limits& limits = tapper_.limits;
    return ms{longest_on_} > limits.max_on_in_span ||
           static_cast<double>(longest_on_) * 100.0 >
               limits.duty_percent * static_cast<double>(limits.duty_span / ms{1});
  }
  [[nodiscard]] double above_coil_limit_k() const {
    return hottest_c_ - (tapper_.limits.max_coil_c - tapper_.limits.coil_margin_k);
  }

 private:
  [[nodiscard]] std::int64_t now() const { return static_cast<std::int64_t>(was_on_.size()); }

  void tick(bool on) {
    const auto span = static_cast<std::size_t>(tapper_.limits.duty_span / ms{1});
    if (was_on_.size() >= span && was_on_[was_on_.size() - span]) --on_in_span_;
    was_on_.push_back(on);
    if (on) ++on_in_span_;
    const CoilState half = moved(state_, slope(state_, on), 0.0005);
    state_ = moved(state_, slope(half, on), 0.001);  // midpoint rule
  }

  static CoilState moved(CoilState state, CoilState by, double seconds) {
    return {state.winding_c + by.winding_c * seconds, state.body_c + by.body_c * seconds};
  }
  [[nodiscard]] CoilState slope(CoilState state, bool on) const {
    const CoilModel& coil = tapper_.coil;
    const double ohm = coil.resistance_20c_ohm * (234.5 + state.winding_c) / 254.5;
    const double in_w = on ? coil.supply_v * coil.supply_v / ohm : 0.0;
    const double across_w = (state.winding_c - state.body_c) / coil.winding_to_body_k_w;
    const double out_w = (state.body_c - coil.ambient_c) / coil.body_to_air_k_w;
    return {(in_w - across_w) / coil.winding_j_k, (across_w - out_w) / coil.body_j_k};
  }

  Tapper tapper_;
  CoilState state_;
  std::vector<bool> was_on_;
  std::int64_t on_in_span_ = 0;
  std::int64_t longest_on_ = 0;
  double hottest_c_ = -1000.0;
};

enum class Judgement { fits, over, too_close_to_call };

/// What a plain look at every millisecond says of a trial after accepted pulses.
Judgement judge(const Tapper& tapper, const Clockwork& before, const Pulse* last,
                const std::vector<Pulse>& trial) {
  Clockwork clockwork = before;
  for (const Pulse& pulse : trial) {
    if (pulse.on_time <= 0ms || pulse.on_time > tapper.limits.max_pulse) return Judgement::over;
    if (pulse.on < base::segment_start) return Judgement::over;
    if (last != nullptr && pulse.on < last->off() + tapper.limits.min_rest) return Judgement::over;
    clockwork.play(pulse);
    last = &pulse;
  }
  const double above_k = clockwork.above_coil_limit_k();
  if (clockwork.over_duty() || above_k > thermal_tolerance_k) return Judgement::over;
  return above_k > -thermal_tolerance_k ? Judgement::too_close_to_call : Judgement::fits;
}

std::vector<Pulse> random_trial(Draws& draws, const Limits& limits, base::Instant from) {
  std::vector<Pulse> trial;
  const std::int64_t longest = limits.max_pulse / ms{1};
  base::Instant at = from + draws.time(0, draws.whole(0, 3) == 0 ? 2000 : 150);
  for (std::int64_t taps = draws.whole(1, 5); taps > 0; --taps) {
    const bool slip = draws.whole(0, 39) == 0;  // lengths and orders that nobody should ask for
    trial.push_back({at, slip ? draws.time(-1, longest + 3) : draws.time(1, longest)});
    at = trial.back().off() + (slip ? draws.time(-20, 80) : limits.min_rest + draws.time(0, 60));
  }
  return trial;
}

struct Counts {
  int passed = 0;
  int too_close = 0;
  std::vector<std::string> refused;
};

void run_train(std::uint32_t train, Counts& counts) {
  Draws draws(train);
  const Tapper tapper = random_tapper(draws);
  if (check_limits(tapper.limits)) return;
  PulseCheck check(tapper.limits, tapper.coil, {cold(tapper.coil)}, base::segment_start);
  Clockwork clockwork(tapper);
  std::vector<Pulse> accepted;
  base::Instant from = base::segment_start;
  for (int i = 0; i < 60; ++i) {
    const std::vector<Pulse> trial = random_trial(draws, tapper.limits, from);
    const Pulse* last = accepted.empty() ? nullptr : &accepted.back();
    const Judgement expected = judge(tapper, clockwork, last, trial);
    const auto refusal = check.check(trial);
    if (expected != Judgement::too_close_to_call) {
      ASSERT_EQ(refusal.has_value(), expected == Judgement::over)
          << "train " << train << ", trial " << i << ": " << (refusal ? refusal->reason : "passed");
    }
    counts.too_close += expected == Judgement::too_close_to_call;
    if (refusal) {
      counts.refused.push_back(refusal->limit);
      from += 100ms;
      continue;
    }
    ++counts.passed;
    check.accept(trial);
    for (const Pulse& pulse : trial) clockwork.play(pulse);
    accepted.insert(accepted.end(), trial.begin(), trial.end());
    from = accepted.back().off();
  }
}

TEST(PulseCheckProperty,
     LetsPassExactlyWhatAMillisecondWalkFindsWithinAllLimits) {  // [S42] [S43] [S44] [S45]
  Counts counts;
  for (std::uint32_t train = 0; train < 300; ++train) {
    ASSERT_NO_FATAL_FAILURE(run_train(train, counts));
  }
  // Each limit must have been met often, else the draws prove nothing.
  EXPECT_GT(counts.passed, 1000);
  EXPECT_LT(counts.too_close, counts.passed / 10);
  for (const char* limit : {"pulse length", "rest", "duty", "coil temperature"}) {
    EXPECT_GT(std::count(counts.refused.begin(), counts.refused.end(), limit), 100) << limit;
  }
}

}  // namespace
}  // namespace plexor::safety
