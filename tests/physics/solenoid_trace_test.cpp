#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <functional>

#include "physics/recorded_trace.hpp"
#include "virtual/physics/solenoid.hpp"

namespace plexor::physics {
namespace {

using namespace std::chrono_literals;

TapTrace traced(const Solenoid& solenoid, base::Duration pulse) {
  TapTrace trace{.every = 1, .points = {}};
  (void)tap(solenoid, {.pulse = pulse, .coil_mdegc = 20'000, .supply_mv = 12'000}, &trace);
  return trace;
}

/// 15 ohm and 40 mH, and no plunger that moves.
Solenoid fixed_coil(double clamp_v) {
  Solenoid solenoid;
  solenoid.leakage_h = 0.040;
  solenoid.gap_inductance_h_m = 0.0;
  solenoid.clamp_v = clamp_v;
  return solenoid;
}

using Value = std::function<double(const TracePoint&)>;

/// The largest distance of a column from the trace, over the trace's points up to `until_s`.
double worst(const TapTrace& trace, const Value& value, const RecordedTrace& reference,
             std::size_t column, double until_s) {
  double most = 0.0;
  for (const TracePoint& point : trace.points) {
    if (point.time_s > until_s) break;
    most = std::max(most, std::abs(value(point) - reference.at(point.time_s, column)));
  }
  testing::Test::RecordProperty("worst_" + std::to_string(column), std::to_string(most));
  return most;
}

double current(const TracePoint& point) { return point.current_a; }
double position(const TracePoint& point) { return point.position_m; }

TEST(CoilCurrent, FollowsNgspiceWithADiodeWithinTwoPercentOfFullScale) {
  const RecordedTrace spice = reference_trace("spice_solenoid_diode.csv");
  EXPECT_LT(worst(traced(fixed_coil(0.9), 30ms), current, spice, 1, 1.0), 0.02 * 0.8);
}

TEST(CoilCurrent, FollowsNgspiceWithAZenerWithinTwoPercentOfFullScale) {
  const RecordedTrace spice = reference_trace("spice_solenoid_zener.csv");
  EXPECT_LT(worst(traced(fixed_coil(24.9), 30ms), current, spice, 1, 1.0), 0.02 * 0.8);
}

TEST(Plunger, FollowsTheReferenceTraceUpToContact) {
  const RecordedTrace reference = reference_trace("scipy_plunger_12V.csv");
  const TapTrace trace = traced(Solenoid{}, 40ms);
  EXPECT_LT(worst(trace, current, reference, 1, 13.7e-3), 0.002);
  EXPECT_LT(worst(trace, position, reference, 2, 13.7e-3), 5e-6);
}

TEST(Current, DipsBeforeThePlungerSeatsAndRisesAgainAfterwards) {
  Solenoid no_bounce;
  no_bounce.surface_restitution = 0.0;
  const TapTrace trace = traced(no_bounce, 30ms);
  const auto lower = [](const auto& a, const auto& b) { return a.current_a < b.current_a; };
  const auto seated = std::find_if(trace.points.begin(), trace.points.end(),
                                   [](const auto& p) { return p.position_m >= 5e-3; });
  const auto switched_off =
      std::find_if(seated, trace.points.end(), [](const auto& p) { return p.time_s >= 30e-3; });
  const auto peak = std::max_element(trace.points.begin(), seated, lower);
  const auto bottom = std::min_element(peak, switched_off, lower);
  EXPECT_NEAR(bottom->time_s, seated->time_s, 2.0 * tap_step_s);
  EXPECT_LT(bottom->current_a, 0.6 * peak->current_a);
}

TEST(Energy, NeverGrowsOnceTheCoilIsOff) {
  for (const base::Duration pulse : {8ms, 10ms, 13ms, 25ms}) {
    const Solenoid s;
    const auto energy = [&](const TracePoint& p) {
      return 0.5 * inductance_h(s, p.position_m) * p.current_a * p.current_a +
             0.5 * s.moving_mass_kg * p.speed_m_s * p.speed_m_s +
             s.spring_preload_n * p.position_m +
             0.5 * s.spring_rate_n_m * p.position_m * p.position_m;
    };
    double before = 1e9;
    for (const TracePoint& point : traced(s, pulse).points) {
      if (point.time_s < base::to_s(pulse)) continue;
      EXPECT_LE(energy(point), before + 1e-9) << point.time_s;
      before = energy(point);
    }
  }
}

TEST(Energy, OfTheSupplyCoversAllThatTheTapTook) {
  const Solenoid s;
  const TapTrace trace = traced(s, 13ms);
  double supplied = 0.0;
  double heat = 0.0;
  for (std::size_t i = 1; i < trace.points.size(); ++i) {
    const TracePoint& a = trace.points[i - 1];
    const TracePoint& b = trace.points[i];
    if (b.time_s > 13e-3 + 1e-9) break;
    const double mean = 0.5 * (a.current_a + b.current_a);
    supplied += 12.0 * mean * (b.time_s - a.time_s);
    heat += 15.0 * mean * mean * (b.time_s - a.time_s);
    const double stored = 0.5 * inductance_h(s, b.position_m) * b.current_a * b.current_a +
                          0.5 * s.moving_mass_kg * b.speed_m_s * b.speed_m_s +
                          (s.spring_preload_n + s.friction_n) * b.position_m +
                          0.5 * s.spring_rate_n_m * b.position_m * b.position_m;
    EXPECT_NEAR(supplied, heat + stored, 1e-5) << b.time_s;
  }
}

}  // namespace
}  // namespace plexor::physics
