// A quiet night on the shipped oak counter, 8 h at 8 kHz, disturbances and all, against the plain
// loop: a standard library normal deviate, the counter's modes always on and the detector, for each
// sample. A loop with three modes only is shown beside it.

#include <benchmark/benchmark.h>
#include <fmt/core.h>

#include <chrono>
#include <fstream>
#include <random>
#include <sstream>
#include <string>
#include <vector>

#include "ratio_reporter.hpp"
#include "rig/rig_file.hpp"
#include "virtual/peak_detector.hpp"
#include "virtual/virtual_rig.hpp"

namespace {

using namespace plexor;

constexpr double ratio_goal = 20.0;
constexpr double real_time_goal = 20'000.0;
constexpr double night_s = 28'800.0;
constexpr int rate_hz = 8000;
/// The plain loop runs for this part of the night, and its time is multiplied.
constexpr int part = 8;

rig::RigFile read_rig(virtual_rig::Simulation& simulation) {
  const std::string path = PLEXOR_SOURCE_DIR "/rig/simulated-oak.toml";
  std::ifstream in(path);
  std::ostringstream text;
  text << in.rdbuf();
  rig::RigFile rig = rig::parse_rig(text.str(), path);
  simulation = virtual_rig::parse_simulation(text.str(), path, rig);
  return rig;
}

struct Rotor {
  double real = 0.0;
  double imaginary = 0.0;
  double turn_real = 0.7;
  double turn_imaginary = 0.6;
};

void plain_loop(benchmark::State& state, std::size_t mode_count) {
  for (auto _ : state) {
    std::mt19937_64 generator(1);
    std::normal_distribution<double> noise(0.0, 2.0);
    std::vector<Rotor> modes(mode_count);
    virtual_rig::PeakDetector detector({1024, 5.0, 12.0, 0.0}, 2048);
    std::int64_t flagged = 0;
    for (std::int64_t i = 0; i < static_cast<std::int64_t>(night_s) * rate_hz / part; ++i) {
      double signal = 2048.0 + noise(generator);
      for (Rotor& mode : modes) {
        signal += mode.imaginary;
        const double real = mode.real * mode.turn_real - mode.imaginary * mode.turn_imaginary;
        mode.imaginary = mode.real * mode.turn_imaginary + mode.imaginary * mode.turn_real;
        mode.real = real;
      }
      if (detector.flags(static_cast<std::int32_t>(signal + 0.5))) ++flagged;
    }
    benchmark::DoNotOptimize(flagged);
  }
}

void virtual_night(benchmark::State& state) {
  virtual_rig::Simulation simulation;
  const rig::RigFile file = read_rig(simulation);
  for (auto _ : state) {
    virtual_rig::VirtualRig rig(file, simulation, 1, false);
    int events = 0;
    const auto dawn = base::segment_start + std::chrono::hours(8);
    while (rig.observe_until(dawn)) ++events;
    benchmark::DoNotOptimize(events);
  }
}

void plain_loop_of_the_counter(benchmark::State& state) {
  virtual_rig::Simulation simulation;
  (void)read_rig(simulation);
  const virtual_rig::SurfaceSettings& surface = simulation.sensor->surface;
  plain_loop(state,
             physics::ringing_modes(surface.plate, surface.tap, surface.sensor, 5000.0).size());
}
void plain_loop_of_three_modes(benchmark::State& state) { plain_loop(state, 3); }

BENCHMARK(plain_loop_of_the_counter)->Unit(benchmark::kMillisecond)->Repetitions(5);
BENCHMARK(plain_loop_of_three_modes)->Unit(benchmark::kMillisecond)->Repetitions(5);
BENCHMARK(virtual_night)->Unit(benchmark::kMillisecond)->Repetitions(5);

}  // namespace

int main(int argc, char** argv) {
  const plexor::RatioReporter reporter = plexor::run_in_turns(argc, argv);
  const double night_ms = reporter.median("virtual_night");
  for (const std::string name : {"plain_loop_of_the_counter", "plain_loop_of_three_modes"}) {
    const double plain_ms = part * reporter.median(name);
    fmt::print("{}: goal >= {:.0f} x faster, reference {:.2f} s, ratio {:.1f}\n", name, ratio_goal,
               plain_ms / 1e3, plain_ms / night_ms);
  }
  fmt::print("against real time: goal >= {:.0f} x, night in {:.2f} s, ratio {:.0f}\n",
             real_time_goal, night_ms / 1e3, night_s * 1e3 / night_ms);
  return 0;
}
