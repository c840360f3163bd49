#include "virtual/physics/plate.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

namespace plexor::physics {
namespace {

constexpr double plate_pi = 3.14159265358979323846;

/// 600 x 600 x 18 mm MDF, physics_checks.csv S27 to S31.
Plate mdf_shelf() {
  return {.material = *find_material("MDF"), .length_m = 0.6, .width_m = 0.6, .thickness_m = 0.018};
}

TEST(Materials, AreAllThereAndPhysical) {
  for (const char* name : {"oak", "spruce", "plywood", "MDF", "particle board", "glass", "granite",
                           "steel", "plasterboard"}) {
    const auto material = find_material(name);
    ASSERT_TRUE(material) << name;
    EXPECT_GT(material->elastic.youngs_pa, 1e9);
    EXPECT_GT(material->density_kg_m3, 300.0);
    EXPECT_GT(material->elastic.poisson, 0.0);
    EXPECT_LT(material->elastic.poisson, 0.5);
    EXPECT_LT(material->loss_factor, 0.1);
    EXPECT_FALSE(material->source.empty());
  }
  EXPECT_FALSE(find_material("cheese"));
}

TEST(SimplySupportedSquare, HasTheExactCoefficients) {
  const Plate plate = mdf_shelf();
  const double unit = std::sqrt(rigidity_nm(plate) / area_density_kg_m2(plate)) /
                      (2.0 * plate_pi * plate.length_m * plate.length_m);
  EXPECT_NEAR(mode_hz(plate, 1, 1) / unit, 19.74, 0.005);
  EXPECT_NEAR(mode_hz(plate, 1, 2) / unit, 49.35, 0.005);
  EXPECT_NEAR(mode_hz(plate, 2, 2) / unit, 78.96, 0.005);
  EXPECT_NEAR(mode_hz(plate, 3, 1) / unit, 98.70, 0.005);
}

TEST(ClampedSquare, AgreesWithLeissaWithinSevenPerMille) {
  Plate plate = mdf_shelf();
  plate.edges = Edges::clamped;
  const std::vector<double> rectangle = {mode_hz(plate, 1, 1), mode_hz(plate, 1, 2),
                                         mode_hz(plate, 2, 1), mode_hz(plate, 2, 2),
                                         mode_hz(plate, 1, 3), mode_hz(plate, 3, 1)};
  for (int n = 1; n <= 6; ++n) {
    EXPECT_NEAR(rectangle[static_cast<std::size_t>(n) - 1] / clamped_square_hz(plate, n), 1.0,
                0.007)
        << n;
  }
  EXPECT_THROW((void)clamped_square_hz(plate, 7), std::logic_error);
}

TEST(EdgeFactor, ScalesEveryMode) {
  Plate plate = mdf_shelf();
  plate.edge_factor = 0.8;
  EXPECT_DOUBLE_EQ(mode_hz(plate, 2, 3), 0.8 * mode_hz(mdf_shelf(), 2, 3));
}

TEST(Glass, RingsWhereTheHandbookSays) {  // 500 x 500 x 6 mm: 118.1 and 215.3 Hz, with nu 0.22
  const Plate pane{
      .material = *find_material("glass"), .length_m = 0.5, .width_m = 0.5, .thickness_m = 0.006};
  EXPECT_NEAR(mode_hz(pane, 1, 1), 118.1, 0.5);
  EXPECT_NEAR(clamped_square_hz(pane, 1), 215.3, 1.0);
}

TEST(RingingModes, ComeLowestFirstAndAllUpToTheHighest) {
  const auto modes = ringing_modes(mdf_shelf(), {0.15, 0.2}, {0.4, 0.25}, 1500.0);
  EXPECT_TRUE(std::is_sorted(modes.begin(), modes.end(),
                             [](const auto& a, const auto& b) { return a.hz < b.hz; }));
  int expected = 0;
  for (int m = 1; m < 20; ++m) {
    for (int n = 1; n < 20; ++n) expected += mode_hz(mdf_shelf(), m, n) <= 1500.0;
  }
  EXPECT_EQ(static_cast<int>(modes.size()), expected);
}

TEST(RingingModes, StaySilentOnANodalLine) {
  const auto modes = ringing_modes(mdf_shelf(), {0.3, 0.2}, {0.4, 0.25}, 1500.0);
  for (const PlateMode& mode : modes) {
    if (mode.m % 2 != 0) continue;
    EXPECT_NEAR(mode.velocity_per_impulse, 0.0, 1e-12);
  }
}

TEST(RingingModes, AreReciprocal) {
  const auto there = ringing_modes(mdf_shelf(), {0.11, 0.23}, {0.42, 0.31}, 2000.0);
  const auto back = ringing_modes(mdf_shelf(), {0.42, 0.31}, {0.11, 0.23}, 2000.0);
  ASSERT_EQ(there.size(), back.size());
  for (std::size_t i = 0; i < there.size(); ++i) {
    EXPECT_DOUBLE_EQ(there[i].velocity_per_impulse, back[i].velocity_per_impulse);
  }
}

TEST(RingingModes, CarryTheMobilityOfTheInfinitePlateOnAverage) {
  // Over a band, the modes that an impulse starts move the spot as the infinite plate would:
  // sum of phi^2/M over the modes up to f comes to 4 f / Z, averaged over spots.
  constexpr double highest_hz = 8000.0;
  double sum = 0.0;
  int spots = 0;
  for (double x = 0.08; x < 0.55; x += 0.05) {
    for (double y = 0.07; y < 0.55; y += 0.05, ++spots) {
      for (const auto& mode : ringing_modes(mdf_shelf(), {x, y}, {x, y}, highest_hz)) {
        sum += mode.velocity_per_impulse;
      }
    }
  }
  const double infinite = 4.0 * highest_hz / infinite_plate_impedance_ns_m(mdf_shelf());
  EXPECT_NEAR(sum / spots / infinite, 1.0, 0.12);
}

TEST(Damping, OfMaterialAndMountingAdds) {
  Plate plate = mdf_shelf();
  plate.mounting_loss = 0.03;
  EXPECT_DOUBLE_EQ(loss_factor(plate), 0.05);
}

TEST(Damping, LeavesTenPercentAfterItsTime) {  // 120 Hz, eta 0.02: 0.305 s
  EXPECT_NEAR(decay_time_s(120.0, 0.02, 0.1), 0.305, 0.001);
  EXPECT_NEAR(std::exp(-1.0) * 1.0,
              std::exp(-amplitude_decay_s(120.0, 0.02) * plate_pi * 120.0 * 0.02), 1e-12);
}

TEST(BendingWaves, TravelAsTheFormulasSay) {  // MDF 18 mm at 500 Hz: c 192 m/s, 1 m in 2.6 ms
  EXPECT_NEAR(wave_speed_m_s(mdf_shelf(), 500.0), 192.0, 0.5);
  EXPECT_NEAR(travel_time_s(mdf_shelf(), 500.0, 1.0), 2.6e-3, 0.02e-3);
  EXPECT_NEAR(wave_speed_m_s(mdf_shelf(), 2000.0) / wave_speed_m_s(mdf_shelf(), 500.0), 2.0, 1e-12);
}

TEST(BendingWaves, FadeByThreeDecibelsADoublingAndALittleByDamping) {  // 0.7 dB/m at eta 0.02
  const double ratio = distance_attenuation(mdf_shelf(), 500.0, 2.0, 1.0);
  EXPECT_NEAR(20.0 * std::log10(ratio), -3.01 - 0.71, 0.02);
}

}  // namespace
}  // namespace plexor::physics
