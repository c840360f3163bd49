// The analysis against the modes that the virtual rig puts in.
#include <gmock/gmock.h>

#include <cmath>
#include <fstream>
#include <sstream>

#include "analysis/signal/surface_signal.hpp"
#include "rig/rig_file.hpp"
#include "virtual/front_end.hpp"
#include "virtual/physics/impact.hpp"
#include "virtual/physics/plate.hpp"
#include "virtual/sensor.hpp"

namespace plexor::analysis {
namespace {

using namespace std::chrono_literals;

virtual_rig::SensorSettings shipped_sensor(const std::string& surface) {
  const std::string name = "rig/simulated-" + surface + ".toml";
  std::ifstream file(std::string(PLEXOR_SOURCE_DIR "/") + name);
  std::ostringstream text;
  text << file.rdbuf();
  const rig::RigFile rig = rig::parse_rig(text.str(), name);
  virtual_rig::SensorSettings sensor = *virtual_rig::parse_simulation(text.str(), name, rig).sensor;
  sensor.disturbances.clear();
  return sensor;
}

/// Codes of one tap that touches at 100 ms.
std::vector<std::int32_t> codes_of_tap(const virtual_rig::SensorSettings& settings,
                                       double impulse_ns, std::uint64_t seed) {
  virtual_rig::Sensor sensor(settings, seed);
  virtual_rig::FrontEnd front_end(settings.front_end, 1.0, 0, seed);
  const auto contact = base::segment_start + 100ms;
  const auto blow = physics::half_sine_pulse(impulse_ns, 0.3e-3);
  bool is_struck = false;
  std::vector<std::int32_t> codes;
  while (sensor.next_sample_at() < base::segment_start + 1600ms) {
    if (!is_struck && sensor.next_sample_at() >= contact) {
      sensor.strike(blow, contact + std::chrono::microseconds(150));
      is_struck = true;
    }
    const auto stretch = sensor.listen(is_struck ? base::segment_start + 1600ms : contact);
    std::vector<std::int32_t> part(stretch.count);
    front_end.convert(stretch.first, stretch.signal_mv, part);
    codes.insert(codes.end(), part.begin(), part.end());
  }
  return codes;
}

SurfaceSignal analysed(const virtual_rig::SensorSettings& settings, std::uint64_t taps) {
  SurfaceTally tally;
  const auto rate = static_cast<double>(settings.front_end.rate_hz);
  for (std::uint64_t seed = 1; seed <= taps; ++seed) {
    const auto codes = codes_of_tap(settings, 0.004 + 0.001 * static_cast<double>(seed), seed);
    tally.take({.values = codes,
                .rate_hz = rate,
                .quiet = static_cast<std::size_t>(0.09 * rate),
                .contact = 0.1 * rate,
                .end = codes.size(),
                .tap_follows = false,
                .rails = {.lowest = 0, .highest = (1 << settings.front_end.bits) - 1}},
               0.1 * static_cast<double>(seed));
  }
  return tally.finish();
}

std::vector<physics::PlateMode> modes_of(const virtual_rig::SensorSettings& settings) {
  const auto& surface = settings.surface;
  return physics::ringing_modes(surface.plate, surface.tap, surface.sensor,
                                0.5 * static_cast<double>(settings.front_end.rate_hz));
}

/// How far from the nearest mode that the surface has.
double off_the_modes(const virtual_rig::SensorSettings& settings, double hz) {
  double nearest = 1e9;
  for (const auto& mode : modes_of(settings)) {
    nearest = std::min(nearest, std::abs(mode.hz - hz));
  }
  return nearest;
}

class VirtualSurfaces : public testing::TestWithParam<const char*> {};

TEST_P(VirtualSurfaces, RingAtTheModesPutInAndDieAwayWithTheirLoss) {
  const auto settings = shipped_sensor(GetParam());
  const SurfaceSignal surface = analysed(settings, 8);
  ASSERT_EQ(surface.clear, 8U);
  ASSERT_GE(surface.lines.size(), 1U);
  for (const SurfaceLine& line : surface.lines) {
    EXPECT_LT(off_the_modes(settings, line.hz), surface.resolution_hz) << line.hz;
  }
  ASSERT_TRUE(surface.time_constant_s);
  EXPECT_LT(surface.time_constant_s->median, modes_of(settings).front().decay_s);
  EXPECT_GT(surface.time_constant_s->median, modes_of(settings).back().decay_s);
  if (!surface.loss_factor) return;  // all its modes lie too near each other
  const double eta = physics::loss_factor(settings.surface.plate);
  EXPECT_NEAR(surface.loss_factor->median / eta, 1.0, 0.2) << eta;
  RecordProperty("loss_factor", std::to_string(surface.loss_factor->median));
  RecordProperty("put_in", std::to_string(eta));
}

INSTANTIATE_TEST_SUITE_P(Shipped, VirtualSurfaces,
                         testing::Values("oak", "mdf", "granite", "glass"),
                         [](const auto& one) { return std::string(one.param); });

}  // namespace
}  // namespace plexor::analysis
