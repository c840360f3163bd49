#include <fmt/format.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cstdlib>
#include <thread>

#include "base/random.hpp"
#include "bench.hpp"

// The real programs, attacked while they tap: whatever breaks, the current ends.
// Judged by the coil-sense line of the simulated bench, by that line's own clock.

namespace plexor {
namespace {

using namespace std::chrono_literals;

constexpr base::Duration longest_on = 60ms;  // of the hardware outside, as the rig file says

/// How late a thread of this machine comes: no figure here can be better.
class Lateness {
 public:
  Lateness() : thread_([this] { measure(); }) {}
  ~Lateness() { stop(); }
  Lateness(const Lateness&) = delete;
  Lateness& operator=(const Lateness&) = delete;

  std::vector<base::Duration> stop() {
    over_ = true;
    if (thread_.joinable()) thread_.join();
    return delays_;
  }

 private:
  void measure() {
    while (!over_) {
      const lines::KernelInstant due = lines::kernel_now() + 2ms;
      lines::kernel_sleep_until(due);
      delays_.push_back(lines::kernel_now() - due);
    }
  }
  std::vector<base::Duration> delays_;
  std::atomic<bool> over_ = false;
  std::thread thread_;
};

double quantile_ms(std::vector<base::Duration> values, double share) {
  if (values.empty()) return 0.0;
  std::sort(values.begin(), values.end());
  const auto at = static_cast<std::size_t>(share * static_cast<double>(values.size() - 1) + 0.5);
  return base::to_ms(values[at]);
}

struct Outcome {
  bool tripped_before = false;
  bool while_current_flowed = false;
  base::Duration last_current{};  ///< after the fault; none: 0
  base::Duration longest_flow{};  ///< of all pulses of the round
  std::string trouble;
};

std::size_t rounds() {
  const char* wanted = std::getenv("PLEXOR_ATTACKS");
  return wanted == nullptr ? 200 : std::stoul(wanted);
}

/// Waits for a random moment: three times of four within a pulse.
void wait_for_the_moment(AttackBench& bench, std::uint32_t round) {
  const auto draw = [round](std::uint32_t which, std::int64_t low, std::int64_t high) {
    return base::uniform_between(
        {.seed = 17, .trial = round, .tap = which, .purpose = base::Purpose::dice}, low, high);
  };
  lines::kernel_nap(std::chrono::microseconds{draw(0, 0, 500'000)});
  if (draw(1, 0, 3) == 0) return;
  const auto current = [&] { return bench.witness().coil_is_on(); };
  comes_true(3s, [&] { return !current(); });
  comes_true(3s, current);
  lines::kernel_nap(std::chrono::microseconds{draw(2, 0, 7'000)});
}

Outcome strike(AttackBench& bench, const Fault& fault, std::uint32_t round) {
  Outcome outcome;
  const auto controller = bench.start_run();
  const lines::KernelInstant begun = lines::kernel_now();
  const auto taps = [&] { return bench.witness().coil_is_on() || controller->has_ended(); };
  if (!comes_true(20s, taps)) {
    outcome.trouble = "no tap: " + bench.said();
    return outcome;
  }
  if (!controller->has_ended()) wait_for_the_moment(bench, round);
  if (controller->has_ended()) {  // a busy machine holds it up: it tripped, which is what it is for
    outcome.tripped_before = true;
    return outcome;
  }
  const Scene scene = bench.scene(*controller);
  outcome.while_current_flowed = bench.witness().coil_is_on();
  const lines::KernelInstant struck = lines::kernel_now();
  fault.strike(scene);
  lines::kernel_sleep_until(struck + fault.off_within + 500ms);
  for (const CurrentFlow& flow : bench.witness().flows()) {
    if (flow.to < begun) continue;
    outcome.longest_flow = std::max(outcome.longest_flow, flow.to - flow.from);
    outcome.last_current = std::max(outcome.last_current, flow.to - struck);
  }
  if (bench.witness().coil_is_on()) outcome.trouble = "the coil is on";
  bench.bury(scene);
  return outcome;
}

struct Struck {
  const Fault* fault = nullptr;
  Outcome outcome{};
  int trips_before = 0;
};

/// Several benches at a time: most of the time each of them waits.
std::vector<Struck> strike_all(std::size_t count) {
  constexpr std::uint32_t benches = 4;
  const auto& faults = all_faults();
  std::vector<Struck> all(count);
  std::vector<std::thread> threads;
  for (std::uint32_t first = 0; first < benches; ++first) {
    threads.emplace_back([first, count, &faults, &all] {
      AttackBench bench(PLEXOR_PROGRAM);
      for (std::uint32_t round = first; round < count; round += benches) {
        const Fault& fault = faults[round % faults.size()];
        all[round].fault = &fault;
        for (int tries = 0; tries < 5; ++tries) {
          all[round].outcome = strike(bench, fault, round);
          if (!all[round].outcome.tripped_before) break;
          ++all[round].trips_before;
        }
      }
    });
  }
  for (std::thread& thread : threads) thread.join();
  return all;
}

/// The figures of one fault: how long after it current still flowed.
void print_row(const Fault& fault, const std::vector<Struck>& all) {
  std::vector<base::Duration> last;
  std::size_t with_current = 0;
  for (const Struck& struck : all) {
    if (struck.fault != &fault) continue;
    last.push_back(struck.outcome.last_current);
    with_current += struck.outcome.while_current_flowed ? 1U : 0U;
  }
  fmt::print("{:<32}{:>7}{:>14}{:>10.1f}{:>10.1f}{:>12.0f}\n", fault.name, last.size(),
             with_current, quantile_ms(last, 0.99), quantile_ms(last, 1.0),
             base::to_ms(fault.off_within));
}

TEST(Attack, WhateverBreaksTheCurrentEnds) {  // [S20] to [S32]
  Lateness lateness;
  const std::vector<Struck> all = strike_all(rounds());
  const auto delays = lateness.stop();
  const base::Duration delay = *std::max_element(delays.begin(), delays.end());
  fmt::print("{:<32}{:>7}{:>14}{:>10}{:>10}{:>12}\n", "fault", "times", "with current", "p99, ms",
             "max, ms", "allowed, ms");
  for (const Fault& fault : all_faults()) print_row(fault, all);
  std::size_t with_current = 0;
  base::Duration longest{};
  int trips_before = 0;
  for (const auto& [fault, outcome, trips] : all) {
    EXPECT_EQ(outcome.trouble, "") << fault->name;
    EXPECT_FALSE(outcome.tripped_before) << fault->name << ": never got so far";
    trips_before += trips;
    EXPECT_LT(outcome.last_current, fault->off_within + delay + 20ms) << fault->name;
    EXPECT_LT(outcome.longest_flow, longest_on + delay + 5ms) << fault->name;
    with_current += outcome.while_current_flowed ? 1U : 0U;
    longest = std::max(longest, outcome.longest_flow);
  }
  fmt::print(
      "current flowed at {} of {} faults; longest current of all {:.1f} ms (hardware {:.0f})\n"
      "a sleeping thread of this machine came {:.1f} ms late at p99, {:.1f} ms at most;\n"
      "{} runs had tripped by that before the fault and were begun again\n",
      with_current, all.size(), base::to_ms(longest), base::to_ms(longest_on),
      quantile_ms(delays, 0.99), base::to_ms(delay), trips_before);
  EXPECT_GE(2 * with_current, all.size());
}

}  // namespace
}  // namespace plexor
