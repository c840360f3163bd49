#include "run/calibrating.hpp"

#include "../virtual/workshop.hpp"
#include "base/error.hpp"

namespace plexor::run {
namespace {

using namespace std::chrono_literals;
using ::testing::HasSubstr;

const rig::SpeedGate gate{{7, false}, 1e-3, 1e-3};

class CalibratingTest : public ::testing::Test {
 protected:
  CalibratingTest() {
    rig_.speed_gate = gate;
    simulation_.tapper.solenoid.flag_m = gate.flag_m;
    simulation_.tapper.solenoid.flag_to_surface_m = gate.to_contact_m;
    simulation_.tapper.transit_sd = 150us;
    simulation_.tapper.strike_cv = 0.02;
  }

  Calibrating& calibrating(int taps_per_level = 8) {
    world_.emplace(rig_, simulation_, 1, false);
    tapper_.emplace(rig_, RigPorts{*world_, *world_, *world_},
                    safety::CoilPast{safety::cold(rig_.coil)},
                    HandTapper::Hooks{[this] { return stop_after_ > 0 && told_ >= stop_after_; }});
    calibrating_.emplace(rig_, *tapper_, Calibrating::Setting{.taps_per_level = taps_per_level},
                         [this](double) { ++told_; });
    return *calibrating_;
  }

  /// The whole of it, as the command does it.
  std::optional<std::vector<DriveLevel>> levels(int taps_per_level = 8) {
    auto& calibrating = this->calibrating(taps_per_level);
    const auto drives = calibrating.find_drives();
    return drives ? calibrating.measure(*drives) : std::nullopt;
  }

  [[nodiscard]] physics::TapSummary truth(const rig::CalibrationPoint& point,
                                          const rig::CoilConditions& conditions) const {
    return physics::tap(simulation_.tapper.solenoid, {.pulse = point.on_time,
                                                      .coil_mdegc = conditions.coil_mdegc,
                                                      .supply_mv = conditions.supply_mv});
  }

  rig::RigFile rig_ = virtual_rig::workshop_rig();
  virtual_rig::Simulation simulation_ = virtual_rig::workshop_simulation();
  std::optional<virtual_rig::VirtualRig> world_;
  std::optional<HandTapper> tapper_;
  std::optional<Calibrating> calibrating_;
  int told_ = 0;
  int stop_after_ = 0;
};

TEST_F(CalibratingTest, FindsWhatTheSolenoidDoes) {
  const auto levels = this->levels();
  ASSERT_TRUE(levels);
  const auto curve = curve_of(*levels, gate, 12.0);
  ASSERT_TRUE(curve);
  ASSERT_GE(curve->points.size(), 6U);
  EXPECT_LT(base::to_m_s(curve->slowest()), 0.45);
  EXPECT_GT(base::to_m_s(curve->fastest()), 1.1);
  EXPECT_NEAR(static_cast<double>(curve->conditions.coil_mdegc), 26e3, 3e3);
  for (const rig::CalibrationPoint& point : curve->points) {
    const auto tap = truth(point, curve->conditions);
    ASSERT_EQ(tap.contacts.size(), 1U) << base::to_ms(point.on_time) << ": beyond the re-strike";
    // 2 % from tap to tap, 8 taps, and a coil that warms by a degree meanwhile.
    EXPECT_NEAR(base::to_m_s(point.strike), tap.contacts[0].speed_m_s,
                std::max(0.04 * tap.contacts[0].speed_m_s, 0.03));
    EXPECT_NEAR(base::to_ms(point.transit), base::to_ms(tap.contacts[0].at), 0.25);
    EXPECT_EQ(point.repeatability.taps, 8);
  }
  EXPECT_NEAR(base::to_ms(pooled_transit_sd(*curve)), 0.15, 0.05);
}

TEST_F(CalibratingTest, EndsBelowTheFirstReStrike) {
  const auto levels = this->levels(2);
  ASSERT_TRUE(levels);
  const auto curve = curve_of(*levels, gate, 12.0);
  ASSERT_TRUE(curve);
  for (const DriveLevel& level : *levels) {
    if (!level.re_strikes()) continue;
    EXPECT_LT(curve->points.back().on_time, level.on_time);
  }
}

TEST_F(CalibratingTest, StopsBeforeALimitIsBroken) {
  rig_.limits.max_energy_j = 0.5 * rig_.limits.moving_mass_kg * 0.7 * 0.7;
  const auto levels = this->levels();
  ASSERT_TRUE(levels);
  const auto curve = curve_of(*levels, gate, 12.0);
  ASSERT_TRUE(curve);
  EXPECT_LE(base::to_m_s(curve->fastest()), 0.7);
  EXPECT_GT(base::to_m_s(curve->fastest()), 0.5);
}

TEST_F(CalibratingTest, MeasuresTheSameLevelsWithAWarmCoil) {
  auto& calibrating = this->calibrating(4);
  const auto drives = calibrating.find_drives();
  ASSERT_TRUE(drives);
  const auto cold = calibrating.measure(*drives);
  ASSERT_TRUE(cold);
  ASSERT_TRUE(calibrating.warm_to(34.0, 11ms));
  const auto warm = calibrating.measure(*drives);
  ASSERT_TRUE(warm);
  const auto before = curve_of(*cold, gate, 12.0);
  const auto after = curve_of(*warm, gate, 12.0);
  ASSERT_TRUE(before && after);
  EXPECT_GT(after->conditions.coil_mdegc, before->conditions.coil_mdegc + 4000);
  const base::StrikeSpeed strike{900'000};
  EXPECT_GT(after->at(strike).on_time, before->at(strike).on_time);
}

TEST_F(CalibratingTest, SaysSoWhereNothingLands) {
  simulation_.tapper.miss_every = 1;
  auto& calibrating = this->calibrating();
  try {
    (void)calibrating.find_drives();
    FAIL();
  } catch (const base::RigFault& fault) {
    EXPECT_THAT(fault.what(), HasSubstr("no pulse up to the limit made contact"));
  }
}

std::string fault_of(Calibrating& calibrating) {
  try {
    (void)calibrating.find_drives();
  } catch (const base::RigFault& fault) {
    return fault.what();
  }
  return "none";
}

TEST_F(CalibratingTest, TriesNothingHarderWithoutSightOfTheStrike) {  // [S1]
  simulation_.tapper.solenoid.flag_m = 0.0;                           // the flag has come off
  EXPECT_THAT(fault_of(calibrating()), HasSubstr("without the speed gate"));
  EXPECT_LT(world_->now(), base::segment_start + 20s) << "some soft taps, and no more";
}

TEST_F(CalibratingTest, TriesNothingHarderWhereContactIsNotSensed) {  // [S1]
  rig_.contact.kind = rig::ContactKind::none;                         // its wire is off
  EXPECT_THAT(fault_of(calibrating()), HasSubstr("without a contact"));
}

TEST_F(CalibratingTest, MakesNoPointOfWhatTheGateDidNotSee) {
  auto levels = this->levels(2);
  ASSERT_TRUE(levels);
  for (DriveLevel& level : *levels) level.taps.back().gate.reset();
  EXPECT_FALSE(curve_of(*levels, gate, 12.0));
}

TEST_F(CalibratingTest, GivesNothingIfItWasStopped) {
  stop_after_ = 3;
  EXPECT_FALSE(this->levels(2));
}

TEST_F(CalibratingTest, WritesWhatItReadsAgain) {
  const auto levels = this->levels(3);
  ASSERT_TRUE(levels);
  const rig::Calibration written{
      .date = "2026-06-01", .transit_sd = 120us, .curves = {curve_of(*levels, gate, 12.0).value()}};
  const rig::Calibration read = rig::parse_calibration(to_toml(written), "calibration.toml");
  ASSERT_EQ(read.curves.size(), 1U);
  EXPECT_EQ(read.transit_sd, written.transit_sd);
  EXPECT_EQ(read.curves[0].conditions.coil_mdegc, written.curves[0].conditions.coil_mdegc);
  ASSERT_EQ(read.curves[0].points.size(), written.curves[0].points.size());
  for (std::size_t i = 0; i < read.curves[0].points.size(); ++i) {
    EXPECT_EQ(read.curves[0].points[i].on_time, written.curves[0].points[i].on_time);
    EXPECT_EQ(read.curves[0].points[i].strike, written.curves[0].points[i].strike);
    EXPECT_EQ(read.curves[0].points[i].transit, written.curves[0].points[i].transit);
    EXPECT_EQ(read.curves[0].points[i].repeatability.taps, 3);
  }
}

}  // namespace
}  // namespace plexor::run
