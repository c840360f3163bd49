#include "virtual/physics/impact.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "physics/drawn.hpp"
#include "virtual/physics/materials.hpp"

namespace plexor::physics {
namespace {

/// Steel ball end of 5 mm radius, 20 g, 0.8 m/s on MDF: physics_checks.csv S21 to S23.
Impact ball_on_mdf() {
  return {.mass_kg = 0.02,
          .tip_radius_m = 0.005,
          .modulus_pa = contact_modulus_pa({200e9, 0.3}, find_material("MDF")->elastic),
          .speed_m_s = 0.8};
}

Impact drawn_impact(std::uint32_t trial) {
  return {.mass_kg = drawn(trial, 0, 0.005, 0.1),
          .tip_radius_m = drawn(trial, 1, 0.001, 0.02),
          .modulus_pa = std::exp(drawn(trial, 2, std::log(1e8), std::log(1e11))),
          .speed_m_s = drawn(trial, 3, 0.1, 3.0),
          .damping_s_m = drawn(trial, 4, 0.0, 2.0),
          .mobility_m_ns = drawn(trial, 5, 0.0, 2e-3)};
}

void expect_ratio(double found, double expected, double tolerance) {
  EXPECT_NEAR(found / expected, 1.0, tolerance);
}

TEST(ElasticImpact, IntegratesToTheClosedForms) {  // Johnson 1985, section 11.4
  for (std::uint32_t trial = 0; trial < 50; ++trial) {
    Impact impact = drawn_impact(trial);
    impact.damping_s_m = 0.0;
    impact.mobility_m_ns = 0.0;
    const ImpactResult result = strike(impact);
    expect_ratio(result.contact_s, hertz_contact_time_s(impact), 1e-4);
    expect_ratio(result.peak_force_n, hertz_peak_force_n(impact), 1e-4);
    expect_ratio(result.peak_indentation_m, hertz_indentation_m(impact), 1e-4);
    EXPECT_NEAR(result.restitution, 1.0, 1e-5);
  }
}

TEST(ElasticImpact, FollowsTheScalingLaws) {  // F ~ v^1.2 m^0.6 E*^0.4, T ~ v^-0.2 m^0.4 E*^-0.4
  const ImpactResult one = strike(ball_on_mdf());
  for (std::uint32_t trial = 0; trial < 20; ++trial) {
    const double v = drawn(trial, 0, 0.3, 3.0);
    const double m = drawn(trial, 1, 0.3, 3.0);
    const double e = drawn(trial, 2, 0.3, 3.0);
    Impact impact = ball_on_mdf();
    impact.speed_m_s *= v;
    impact.mass_kg *= m;
    impact.modulus_pa *= e;
    const ImpactResult other = strike(impact);
    expect_ratio(other.peak_force_n / one.peak_force_n,
                 std::pow(v, 1.2) * std::pow(m, 0.6) * std::pow(e, 0.4), 1e-3);
    expect_ratio(other.contact_s / one.contact_s,
                 std::pow(v, -0.2) * std::pow(m, 0.4) * std::pow(e, -0.4), 1e-3);
  }
}

TEST(DampedImpact, ComesBackWithTheRestitutionAskedFor) {
  for (const double restitution : {0.05, 0.1, 0.3, 0.5, 0.8, 0.95, 1.0}) {
    Impact impact = ball_on_mdf();
    impact.damping_s_m = damping_s_m(restitution, impact.speed_m_s);
    EXPECT_NEAR(strike(impact).restitution, restitution, 1e-4);
  }
}

TEST(Impact, NeverGainsEnergy) {
  for (std::uint32_t trial = 0; trial < 50; ++trial) {
    const Impact impact = drawn_impact(trial);
    const double k = 4.0 / 3.0 * impact.modulus_pa * std::sqrt(impact.tip_radius_m);
    const auto energy = [&](const ForcePoint& point) {
      return impact_energy_j(impact.mass_kg, point.speed_m_s) +
             0.4 * k * std::pow(point.indentation_m, 2.5);
    };
    const ImpactResult result = strike(impact);
    const double start = energy(result.points.front());
    for (std::size_t i = 1; i < result.points.size(); ++i) {
      EXPECT_LE(energy(result.points[i]), energy(result.points[i - 1]) + 1e-6 * start);
    }
    EXPECT_LE(result.restitution, 1.0 + 1e-6);
  }
}

TEST(YieldingSurface,
     SwallowsEnergyAsZenerFound) {  // e = exp(-1.72 lambda), from memory: Zener 1941
  for (const double impedance : {30000.0, 3000.0, 1268.0, 600.0}) {
    Impact impact = ball_on_mdf();
    impact.mobility_m_ns = 1.0 / impedance;
    const double lambda = zener_parameter(impact);
    ASSERT_LT(lambda, 0.5);
    EXPECT_NEAR(strike(impact).restitution, std::exp(-1.72 * lambda), 0.015) << lambda;
  }
}

TEST(YieldingSurface, NeedNotGiveTheMassBack) {
  Impact impact = ball_on_mdf();
  impact.mobility_m_ns = 0.1;
  const ImpactResult result = strike(impact);
  EXPECT_EQ(result.restitution, 0.0);
  EXPECT_LT(result.peak_force_n, 0.1 * hertz_peak_force_n(impact));
}

TEST(Impact, TransfersTheMomentumThatTheForcePulseHolds) {
  Impact impact = ball_on_mdf();
  impact.damping_s_m = 0.4;
  impact.mobility_m_ns = 1.0 / 1268.0;
  const ImpactResult result = strike(impact);
  constexpr double step_s = 1e-6;
  double sum = 0.0;
  for (const double force : force_samples_n(result, step_s)) sum += force * step_s;
  expect_ratio(sum, result.impulse_ns, 1e-3);
}

TEST(ForceSamples, CoverTheContactAndNoMore) {
  const ImpactResult result = strike(ball_on_mdf());
  const auto samples = force_samples_n(result, 25e-6);
  EXPECT_EQ(samples.size(), static_cast<std::size_t>(result.contact_s / 25e-6) + 1);
  EXPECT_EQ(samples.front(), 0.0);
  expect_ratio(*std::max_element(samples.begin(), samples.end()), result.peak_force_n, 0.02);
}

TEST(Pressure, IsFarAboveWhatWoodBearsElastically) {  // about 190 MPa in that check
  const Impact impact = ball_on_mdf();
  const double pressure = mean_pressure_pa(hertz_peak_force_n(impact), impact.tip_radius_m,
                                           hertz_indentation_m(impact));
  expect_ratio(pressure, 190e6, 0.02);
}

TEST(HalfSineSpectrum, HasItsKnownPoints) {  // -3 dB at 0.59/T, -10 dB at 1.02/T, zero at 1.5/T
  EXPECT_DOUBLE_EQ(half_sine_spectrum(0.0, 0.5e-3), 1.0);
  EXPECT_NEAR(20.0 * std::log10(half_sine_spectrum(0.59 / 0.5e-3, 0.5e-3)), -3.0, 0.05);
  EXPECT_NEAR(20.0 * std::log10(half_sine_spectrum(1.02 / 0.5e-3, 0.5e-3)), -10.0, 0.1);
  EXPECT_NEAR(half_sine_spectrum(1.5 / 0.5e-3, 0.5e-3), 0.0, 1e-12);
  EXPECT_NEAR(half_sine_spectrum(0.5 / 0.5e-3, 0.5e-3), std::acos(-1.0) / 4.0, 1e-6);
}

TEST(ForcePulse, OfAHalfSineHasItsSpectrum) {
  const ForcePulse pulse = half_sine_pulse(0.01, 0.5e-3);
  EXPECT_NEAR(pulse.middle_s, 0.25e-3, 1e-12);
  for (const double hz : {0.0, 500.0, 1180.0, 2040.0, 3000.0, 4500.0}) {
    const Spectrum at = spectrum(pulse, hz);
    EXPECT_NEAR(std::hypot(at.real, at.imaginary), half_sine_spectrum(hz, 0.5e-3), 2e-3) << hz;
    EXPECT_NEAR(at.imaginary, 0.0, 1e-9) << "symmetrical about its middle";
  }
}

TEST(ForcePulse, OfAnImpactThatPeaksEarlyReachesHigherThanAHalfSineOfItsLength) {
  Impact impact{.mass_kg = 0.012, .tip_radius_m = 0.006, .modulus_pa = 3e9, .speed_m_s = 0.9};
  impact.damping_s_m = damping_s_m(0.35, 0.9);
  const ImpactResult result = strike(impact);
  const ForcePulse pulse = force_pulse(result);
  EXPECT_LT(pulse.middle_s, 0.4 * result.contact_s);
  const double hz = 1.2 / result.contact_s;
  const Spectrum at = spectrum(pulse, hz);
  EXPECT_GT(std::hypot(at.real, at.imaginary), 1.5 * half_sine_spectrum(hz, result.contact_s));
  // Against the finely sampled force itself.
  double real = 0.0;
  double sum = 0.0;
  const double step_s = result.contact_s / 2000.0;
  const auto force = force_samples_n(result, step_s);
  for (std::size_t i = 0; i < force.size(); ++i) {
    const double t = static_cast<double>(i) * step_s - pulse.middle_s;
    real += force[i] * std::cos(2.0 * 3.14159265358979 * hz * t);
    sum += force[i];
  }
  EXPECT_NEAR(at.real, real / sum, 3e-3);
}

TEST(IkClass, BeginsAtItsEnergy) {  // IEC 62262, IK11 since 2021
  EXPECT_EQ(ik_class(0.0064), "IK00");
  EXPECT_EQ(ik_class(0.139), "IK00");
  EXPECT_EQ(ik_class(0.14), "IK01");
  EXPECT_EQ(ik_class(0.7), "IK05");
  EXPECT_EQ(ik_class(19.9), "IK09");
  EXPECT_EQ(ik_class(60.0), "IK11");
}

TEST(Impact, RefusesWhatCannotBeIntegrated) {
  Impact impact = ball_on_mdf();
  impact.speed_m_s = 0.0;
  EXPECT_THROW((void)strike(impact), std::logic_error);
}

}  // namespace
}  // namespace plexor::physics
