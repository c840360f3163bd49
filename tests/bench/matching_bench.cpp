// Matching 10 M windows with 10 M arrivals against reading both arrays once.

#include <benchmark/benchmark.h>
#include <fmt/core.h>

#include <cstdint>
#include <string>
#include <vector>

#include "base/random.hpp"
#include "judge/matching.hpp"
#include "ratio_reporter.hpp"

namespace {

using plexor::base::DrawKey;
using plexor::base::Duration;
using plexor::base::Instant;
using plexor::base::uniform_bits;
using plexor::judge::AnswerWindow;

constexpr double goal = 2.5;
constexpr std::size_t windows_wanted = 10'000'000;

struct Run {
  std::vector<AnswerWindow> windows;
  std::vector<Instant> arrivals;
};

/// One trial every 2 s; in 1,000 trials about 20 stay unanswered and 20 gaps have an alarm.
Run make_run() {
  Run run;
  run.windows.reserve(windows_wanted);
  run.arrivals.reserve(windows_wanted);
  for (std::size_t i = 0; i < windows_wanted; ++i) {
    const Instant first{Duration(2'000'000'000) * i};
    const Instant last = first + Duration(190'000'000);
    run.windows.push_back({first, last, last + Duration(1'200'000'000)});
    const std::uint64_t bits = uniform_bits({.seed = 1, .trial = static_cast<std::uint32_t>(i)});
    if (bits % 1000 >= 20) run.arrivals.push_back(last + Duration(bits >> 34U));
    if (bits % 1000 >= 980) run.arrivals.push_back(last + Duration(1'500'000'000));
  }
  return run;
}

const Run& the_run() {
  static const Run run = make_run();
  return run;
}

void read_both(benchmark::State& state) {
  const Run& run = the_run();
  for (auto _ : state) {
    std::int64_t sum = 0;
    for (const AnswerWindow& w : run.windows)
      sum += (w.opens.time_since_epoch() + w.reference.time_since_epoch() +
              w.closes.time_since_epoch())
                 .count();
    for (const Instant arrival : run.arrivals) sum += arrival.time_since_epoch().count();
    benchmark::DoNotOptimize(sum);
  }
}

void match_all(benchmark::State& state) {
  const Run& run = the_run();
  for (auto _ : state) benchmark::DoNotOptimize(plexor::judge::match(run.windows, run.arrivals));
}

BENCHMARK(read_both)->Unit(benchmark::kMillisecond)->Repetitions(9);
BENCHMARK(match_all)->Unit(benchmark::kMillisecond)->Repetitions(9);

}  // namespace

int main(int argc, char** argv) {
  const plexor::RatioReporter reporter = plexor::run_in_turns(argc, argv);
  const double reference = reporter.median("read_both");
  const double matching = reporter.median("match_all");
  fmt::print("matching 10 M x 10 M: goal <= {:.1f} x, reference {:.1f} ms, ratio {:.2f}\n", goal,
             reference, matching / reference);
}
