#include <gtest/gtest.h>

#include <cmath>
#include <filesystem>

#include "virtual/one_tap.hpp"
#include "virtual/physics/solenoid.hpp"
#include "workshop.hpp"

namespace plexor::virtual_rig {
namespace {

struct Shipped {
  std::string path;
  rig::RigFile rig;
  Simulation simulation;
};

std::vector<Shipped> shipped_rigs() {
  std::vector<Shipped> all;
  for (const std::string folder : {"rig", "demo-data", "demo-data/nights"}) {
    for (const auto& entry : std::filesystem::directory_iterator(PLEXOR_SOURCE_DIR "/" + folder)) {
      const std::string name = entry.path().filename().string();
      const bool is_real = name.starts_with("board-");  // tests/rig/rig_file_test.cpp
      const bool is_scenario = name == "workshop.toml" || name == "quick-check.toml" ||
                               name == "advice-check.toml" || name == "night.toml";
      if (entry.path().extension() != ".toml" || is_scenario || is_real) continue;
      const std::string path = folder + "/" + name;
      const std::string text = read_source_file(path);
      const rig::RigFile rig = rig::parse_rig(text, path);
      all.push_back({path, rig, parse_simulation(text, path, rig)});
    }
  }
  return all;
}

TEST(ShippedRigs, AreTheFourSurfacesTheTwoLiveOnesAndTheDemosFour) {
  EXPECT_EQ(shipped_rigs().size(), 10U);
}

TEST(ShippedRigs, AreCalibratedAsTheirPhysicsStrikes) {
  for (const Shipped& shipped : shipped_rigs()) {
    const rig::Calibration& calibration = shipped.rig.calibration.value();
    const rig::CalibrationCurve& curve = calibration.curves.front();
    for (const rig::CalibrationPoint& point : curve.points) {
      const auto tap = physics::tap(shipped.simulation.tapper.solenoid,
                                    {.pulse = point.on_time,
                                     .coil_mdegc = curve.conditions.coil_mdegc,
                                     .supply_mv = curve.conditions.supply_mv});
      ASSERT_EQ(tap.contacts.size(), 1U) << shipped.path << ": one contact, no re-strike";
      EXPECT_NEAR(tap.contacts[0].speed_m_s, base::to_m_s(point.strike), 0.001) << shipped.path;
      EXPECT_NEAR(base::to_ms(tap.contacts[0].at), base::to_ms(point.transit), 0.01);
    }
  }
}

TEST(ShippedRigs, KnockAsKnocksAre) {
  // What physics.md holds for plausible: 1 to 100 mJ, far below IK01, some tens to hundreds of
  // newton within a millisecond, tens of millivolts to volts at the pin, the click 10 to 25 ms
  // later.
  for (const Shipped& shipped : shipped_rigs()) {
    const auto tap = one_tap(shipped.rig, shipped.simulation, {900'000});
    ASSERT_TRUE(tap) << shipped.path;
    EXPECT_NEAR(tap->strike_m_s, 0.9, 0.05);
    EXPECT_GT(tap->energy_j, 1e-3);
    EXPECT_LT(tap->energy_j, 0.14);
    EXPECT_GT(tap->peak_force_n, 20.0);
    EXPECT_LT(tap->peak_force_n, 400.0);
    EXPECT_LT(tap->contact_time_s, 1e-3);
    EXPECT_GT(tap->restitution, 0.2);
    EXPECT_LT(tap->restitution, 0.5);
    ASSERT_TRUE(tap->click_s);
    EXPECT_GT(*tap->click_s - tap->contact_s, 0.010);
    EXPECT_LT(*tap->click_s - tap->contact_s, 0.025);
    double peak_mv = 0.0;
    for (const TraceSample& sample : tap->pin_mv)
      peak_mv = std::max(peak_mv, std::abs(sample.value));
    EXPECT_GT(peak_mv, 50.0) << shipped.path;
    EXPECT_LT(peak_mv, 2000.0) << shipped.path;
    EXPECT_LT(std::abs(tap->pin_mv.back().value), 0.02 * peak_mv) << "rung down";
  }
}

TEST(ShippedRigs, TheCurrentDipsBeforeTheTipTouches) {
  const auto tap = one_tap(workshop_rig(), workshop_simulation(), {1'200'000});
  ASSERT_TRUE(tap);
  double highest = 0.0;
  double at_contact = 0.0;
  for (const TraceSample& sample : tap->current_a) {
    if (sample.time_s > tap->contact_s) break;
    highest = std::max(highest, sample.value);
    at_contact = sample.value;
  }
  EXPECT_LT(at_contact, 0.9 * highest);
}

TEST(OneTap, IsNothingWithoutASensorAndRefusesAStrikeOutsideTheCalibration) {
  EXPECT_FALSE(one_tap(workshop_rig(), dice_simulation(sure_dice()), {900'000}));
  EXPECT_ANY_THROW((void)one_tap(workshop_rig(), workshop_simulation(), {3'000'000}));
}

}  // namespace
}  // namespace plexor::virtual_rig
