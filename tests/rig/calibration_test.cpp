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
constexpr CoilConditions cold{25'000, 12'000};

Calibration example_calibration() {
  return {
      .date = "2026-05-18",
      .curves = {
          {cold,
           {{8ms, {450'000}, 21ms}, {10ms, {720'000}, 17500us}, {14ms, {1'210'000}, 13800us}}}}};
}

/// The same tapper, warm and at a lower supply: longer pulses, later contacts.
Calibration calibration_over_conditions() {
  Calibration calibration = example_calibration();
  const auto add = [&](CoilConditions conditions, base::Duration on, base::Duration transit,
                       std::int64_t um_s) {
    CalibrationCurve curve{conditions, calibration.curves.front().points};
    for (CalibrationPoint& point : curve.points) {
      point.on_time += on;
      point.transit += transit;
      point.strike.um_s -= um_s;
    }
    return curve;
  };
  const CalibrationCurve cold_low = add({25'000, 11'000}, 1ms, 2ms, 10'000);
  const CalibrationCurve warm_low = add({65'000, 11'000}, 3ms, 4ms, 20'000);
  const CalibrationCurve warm = add({65'000, 12'000}, 2ms, 3ms, 5'000);
  calibration.curves = {cold_low, warm_low, calibration.curves.front(), warm};
  return calibration;
}

TEST(Calibration, GivesBackItsPointsExactly) {
  const Calibration calibration = example_calibration();
  for (const CalibrationPoint& point : calibration.curves.front().points) {
    const CalibrationPoint found = calibration.at(point.strike, cold);
    EXPECT_EQ(found.on_time, point.on_time);
    EXPECT_EQ(found.transit, point.transit);
    EXPECT_EQ(found.strike, point.strike);
  }
}

TEST(Calibration, IsLinearBetweenPointsInWholeNanoseconds) {
  const CalibrationPoint found = example_calibration().at({500'000}, cold);
  EXPECT_EQ(found.on_time, 8'370'370ns);   // 8 ms + 2 ms * 50 / 270
  EXPECT_EQ(found.transit, 20'351'852ns);  // 21 ms - 3.5 ms * 50 / 270, rounded to nearest
}

TEST(Calibration, NeverFallsInDriveNorRisesInTransitWithSpeed) {
  const Calibration calibration = example_calibration();
  CalibrationPoint before = calibration.at(calibration.slowest(), cold);
  for (std::int64_t um_s = 450'000; um_s <= 1'210'000; um_s += 97) {
    const CalibrationPoint found = calibration.at({um_s}, cold);
    EXPECT_GE(found.on_time, before.on_time);
    EXPECT_LE(found.transit, before.transit);
    before = found;
  }
}

TEST(Calibration, DoesNotReachOutsideWhatWasMeasured) {
  const Calibration calibration = example_calibration();
  for (const std::int64_t um_s : {449'999L, 1'210'001L, 0L, -450'000L}) {
    try {
      (void)calibration.at({um_s}, cold);
      FAIL() << um_s;
    } catch (const base::RigFault& fault) {
      EXPECT_THAT(fault.what(), HasSubstr("covers 0.45 to 1.21 m/s"));
    }
  }
}

TEST(Calibration, IsOurBugWithoutTwoRisingPoints) {
  Calibration calibration = example_calibration();
  calibration.curves.front().points.resize(1);
  EXPECT_THROW((void)calibration.at({450'000}, cold), std::logic_error);
  calibration.curves.front().points.push_back(calibration.curves.front().points.front());
  EXPECT_THROW((void)calibration.at({450'000}, cold), std::logic_error);
}

TEST(Calibration, LiesBetweenItsCurvesInTemperatureAndSupply) {
  const Calibration calibration = calibration_over_conditions();
  const base::StrikeSpeed strike{700'000};
  const auto drive = [&](std::int64_t mdegc, std::int64_t mv) {
    return calibration.at(strike, {mdegc, mv});
  };
  const auto curve = [&](std::size_t index) { return calibration.curves[index].at(strike); };
  EXPECT_EQ(drive(25'000, 12'000).on_time, curve(2).on_time);
  EXPECT_EQ(drive(65'000, 11'000).transit, curve(1).transit);
  const CalibrationPoint middle = drive(45'000, 11'500);
  const auto mean = [](auto... values) { return (values + ...) / 4; };
  EXPECT_NEAR(static_cast<double>(middle.on_time.count()),
              static_cast<double>(mean(curve(0).on_time.count(), curve(1).on_time.count(),
                                       curve(2).on_time.count(), curve(3).on_time.count())),
              3.0);
  EXPECT_EQ(middle.strike, strike);
  // Nothing is made up beyond what was measured.
  EXPECT_EQ(drive(90'000, 12'000).on_time, curve(3).on_time);
  EXPECT_EQ(drive(-5'000, 10'000).transit, curve(0).transit);
}

TEST(Calibration, RisesInDriveAndTransitWithTemperatureWhereItsCurvesDo) {
  const Calibration calibration = calibration_over_conditions();
  CalibrationPoint before = calibration.at({800'000}, {20'000, 11'700});
  for (std::int64_t mdegc = 20'000; mdegc <= 70'000; mdegc += 13) {
    const CalibrationPoint found = calibration.at({800'000}, {mdegc, 11'700});
    EXPECT_GE(found.on_time, before.on_time);
    EXPECT_GE(found.transit, before.transit);
    before = found;
  }
}

TEST(Calibration, CoversWhatAllItsCurvesCover) {
  const Calibration calibration = calibration_over_conditions();
  EXPECT_EQ(calibration.slowest(), base::StrikeSpeed{450'000});
  EXPECT_EQ(calibration.fastest(), base::StrikeSpeed{1'190'000});
}

}  // namespace
}  // namespace plexor::rig
