#include "run/aim.hpp"

#include "../virtual/workshop.hpp"

namespace plexor::run {
namespace {

using namespace std::chrono_literals;
using virtual_rig::workshop_rig;

constexpr base::StrikeSpeed strike{929'000};

TEST(Aim, TakesTheDriveFromTheCurvesAtTheCoilsTemperature) {
  rig::RigFile rig = workshop_rig();
  rig::CalibrationCurve warm = rig.calibration->curves.front();
  warm.conditions.coil_mdegc = 65'000;
  for (auto& point : warm.points) {
    point.on_time += 2ms;
    point.transit += 3ms;
  }
  rig.calibration->curves.push_back(warm);
  const Aim aim(rig);
  EXPECT_EQ(aim.drive(strike, 25.0).on_time, 11500us);
  EXPECT_EQ(aim.drive(strike, 45.0).on_time, 12500us);
  EXPECT_EQ(aim.drive(strike, 45.0).transit, 14230us + 1500us);
}

TEST(Aim, IsCorrectedSlowlyByContacts) {
  const rig::RigFile rig = workshop_rig();
  Aim aim(rig);
  const base::Duration calibrated = aim.drive(strike, 25.0).transit;
  aim.learn(calibrated, calibrated + 160us);
  EXPECT_EQ(aim.correction(), 10us);
  for (int taps = 0; taps < 200; ++taps) {
    aim.learn(aim.drive(strike, 25.0).transit, calibrated + 160us);
  }
  EXPECT_NEAR(base::to_ms(aim.correction()), 0.16, 0.001);
  EXPECT_EQ(aim.drive(strike, 25.0).transit, calibrated + aim.correction());
}

TEST(Aim, NeverCorrectsBeyondItsBound) {
  const rig::RigFile rig = workshop_rig();
  for (const base::Duration off : {base::Duration{300ms}, base::Duration{-300ms}}) {
    Aim aim(rig);
    for (int taps = 0; taps < 50; ++taps) aim.learn(14ms, 14ms + off);
    EXPECT_EQ(std::chrono::abs(aim.correction()), Aim::most_correction);
  }
}

}  // namespace
}  // namespace plexor::run
