#pragma once

#include <benchmark/benchmark.h>

#include <map>
#include <string>
#include <vector>

namespace plexor {

/// Prints as usual and keeps the medians of CPU time, in each benchmark's own unit, for the ratio.
class RatioReporter : public benchmark::ConsoleReporter {
 public:
  void ReportRuns(const std::vector<Run>& runs) override {
    ConsoleReporter::ReportRuns(runs);
    for (const Run& run : runs) {
      if (run.aggregate_name == "median")
        medians_[run.run_name.function_name] = run.GetAdjustedCPUTime();
    }
  }
  [[nodiscard]] double median(const std::string& name) const { return medians_.at(name); }

 private:
  std::map<std::string, double> medians_;
};

/// Runs all benchmarks; repetitions take turns, so that whatever else runs slows all alike.
inline RatioReporter run_in_turns(int argc, char** argv) {
  std::string take_turns = "--benchmark_enable_random_interleaving=true";
  std::vector<char*> arguments(argv, argv + argc);
  arguments.push_back(take_turns.data());
  int count = static_cast<int>(arguments.size());
  benchmark::Initialize(&count, arguments.data());
  RatioReporter reporter;
  benchmark::RunSpecifiedBenchmarks(&reporter);
  return reporter;
}

}  // namespace plexor
