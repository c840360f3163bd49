#include "rig/calibration.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <stdexcept>

#include "base/error.hpp"
#include "base/random.hpp"

namespace plexor::rig {
namespace {

using namespace std::chrono_literals;
using ::testing::HasSubstr;

/// Harder drives strike faster and arrive sooner.
Calibration example_calibration() {
  Calibration calibration;
  calibration.date = "2026-05-18";
  calibration.points = {
      {8ms, {450'000}, 21ms}, {10ms, {720'000}, 17500us}, {14ms, {1'210'000}, 13800us}};
  return calibration;
}

TEST(Calibration, GivesBackItsPointsExactly) {
  const Calibration calibration = example_calibration();
  for (const CalibrationPoint& point : calibration.points) {
    const CalibrationPoint found = calibration.at(point.strike);
    EXPECT_EQ(found.on_time, point.on_time);
    EXPECT_EQ(found.transit, point.transit);
    EXPECT_EQ(found.strike, point.strike);
  }
}

TEST(Calibration, IsLinearBetweenPointsInWholeNanoseconds) {
  const CalibrationPoint found = example_calibration().at({500'000});
  EXPECT_EQ(found.on_time, 8'370'370ns);   // 8 ms + 2 ms * 50 / 270
  EXPECT_EQ(found.transit, 20'351'852ns);  // 21 ms - 3.5 ms * 50 / 270, rounded to nearest
}

TEST(Calibration, NeverFallsInDriveNorRisesInTransitWithSpeed) {
  const Calibration calibration = example_calibration();
  CalibrationPoint before = calibration.at(calibration.slowest());
  for (std::int64_t um_s = 450'000; um_s <= 1'210'000; um_s += 97) {
    const CalibrationPoint found = calibration.at({um_s});
    EXPECT_GE(found.on_time, before.on_time);
    EXPECT_LE(found.transit, before.transit);
    before = found;
  }
}

TEST(Calibration, DoesNotReachOutsideWhatWasMeasured) {
  const Calibration calibration = example_calibration();
  for (const std::int64_t um_s : {449'999L, 1'210'001L, 0L, -450'000L}) {
    try {
      (void)calibration.at({um_s});
      FAIL() << um_s;
    } catch (const base::RigFault& fault) {
      EXPECT_THAT(fault.what(), HasSubstr("covers 0.45 to 1.21 m/s"));
    }
  }
}

TEST(Calibration, IsOurBugWithoutTwoRisingPoints) {
  Calibration calibration = example_calibration();
  calibration.points.resize(1);
  EXPECT_THROW((void)calibration.at({450'000}), std::logic_error);
  calibration.points.push_back(calibration.points.front());
  EXPECT_THROW((void)calibration.at({450'000}), std::logic_error);
}

}  // namespace
}  // namespace plexor::rig
