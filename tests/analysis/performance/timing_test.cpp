#include "analysis/performance/timing.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <stdexcept>

#include "analysis/performance/knock_strength.hpp"
#include "analysis/performance/made_performances.hpp"

namespace plexor::analysis {
namespace {

using made::performances_at;
using testing::Contains;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;

using Rows = std::vector<std::vector<double>>;

/// Two intervals about these means with variances of 4 and this covariance, exactly: combinations
/// of two orthogonal contrasts of four performances.
Rows with_covariance(double first, double second, double covariance) {
  const double a = std::sqrt(3.0);
  const double b = covariance * 0.75 / a;
  const double c = std::sqrt(3.0 - b * b);
  Rows rows;
  for (const auto& [u, v] : {std::pair(1, 1), {1, -1}, {-1, 1}, {-1, -1}}) {
    rows.push_back({first + a * u, second + b * u + c * v});
  }
  return rows;
}

TEST(VarianceParts, FollowFromVarianceAndNeighboursByHand) {
  const VarianceParts parts = variance_parts(with_covariance(100, 200, -1.0), 0.95);
  EXPECT_NEAR(parts.motor_sd_ms->value, 1.0, 1e-9);
  EXPECT_NEAR(parts.clock_cv.value, std::sqrt(2.0 / 25'000.0), 1e-9);
  EXPECT_NEAR(parts.replay_motor_sd_ms, 1.0, 1e-9);
  EXPECT_NEAR(parts.replay_clock_cv, parts.clock_cv.value, 1e-9);
  EXPECT_FALSE(parts.tempo_cv);
  EXPECT_LT(parts.motor_sd_ms->interval.lower, 1.0);
  EXPECT_GT(parts.motor_sd_ms->interval.upper, 1.0);
}

TEST(VarianceParts, BelowZeroAreZeroAndTheOtherTakesTheWhole) {
  const VarianceParts together = variance_parts(with_covariance(100, 100, 1.0), 0.95);
  EXPECT_TRUE(together.motor_is_negative);
  EXPECT_EQ(together.motor_sd_ms->value, 0.0);
  EXPECT_NEAR(together.clock_cv.value, 0.02, 1e-9);
  const VarianceParts apart = variance_parts(with_covariance(100, 100, -3.0), 0.95);
  EXPECT_TRUE(apart.clock_is_negative);
  EXPECT_EQ(apart.clock_cv.value, 0.0);
  EXPECT_NEAR(apart.motor_sd_ms->value, std::sqrt(2.0), 1e-9);
}

TEST(VarianceParts, TellATempoByIntervalsThatAreNoNeighbours) {
  Rows rows;
  for (const double tempo : {0.9, 0.95, 1.0, 1.05, 1.1}) {
    rows.push_back({100 * tempo, 200 * tempo, 300 * tempo});
  }
  const VarianceParts parts = variance_parts(rows, 0.95);
  const double cv = std::sqrt(0.025 / 4.0);
  EXPECT_NEAR(parts.tempo_cv->value, cv, 1e-9);
  EXPECT_NEAR(parts.motor_sd_ms->value, 0.0, 1e-3);
  EXPECT_NEAR(parts.clock_cv.value, 0.0, 1e-4);
  EXPECT_NEAR(parts.replay_clock_cv, cv, 1e-6);  // an interval's spread is replayed whole
}

TEST(VarianceParts, OfASingleIntervalAreTheClocksWithTheChiSquareInterval) {
  const VarianceParts parts = variance_parts(Rows{{98}, {100}, {102}, {100}, {100}}, 0.95);
  const double sd = std::sqrt(2.0);
  EXPECT_NEAR(parts.clock_cv.value, sd / 100, 1e-9);
  EXPECT_NEAR(parts.clock_cv.interval.lower, 0.01 * sd * 0.59913, 1e-6);  // sqrt(4 / 11.1433)
  EXPECT_NEAR(parts.clock_cv.interval.upper, 0.01 * sd * 2.87359, 1e-5);  // sqrt(4 / 0.484419)
  EXPECT_FALSE(parts.motor_sd_ms);
}

/// Length and place deviate by steps of a few ms, differently from performance to performance.
std::vector<Performance> steady(std::size_t performances) {
  Rows instants;
  for (std::size_t i = 0; i < performances; ++i) {
    const double one = i % 2 == 0 ? 3.0 : -3.0;
    const double two = i % 3 == 0 ? 4.0 : -2.0;
    instants.push_back({0, 200 + one, 400 + two, 600 + one - two});
  }
  return performances_at(instants);
}

TEST(Timing, HasMeansWithStudentsIntervals) {
  const RhythmTiming timing = timing_of(performances_at({{0, 98}, {0, 100}, {0, 102}}), 0.95);
  EXPECT_NEAR(timing.places[0].mean_ms.value, 100.0, 1e-9);
  EXPECT_NEAR(timing.places[0].sd_ms, 2.0, 1e-9);
  EXPECT_NEAR(timing.places[0].mean_ms.interval.upper, 100.0 + 4.30265 * 2 / std::sqrt(3.0), 1e-4);
}

TEST(Timing, OfEnoughSteadyPerformancesHasNoWarnings) {
  EXPECT_THAT(timing_of(steady(12), 0.95).warnings, Not(Contains(HasSubstr("few"))));
  EXPECT_THAT(timing_of(steady(9), 0.95).warnings, Contains(HasSubstr("9 performances are few")));
}

TEST(Timing, SaysHowTheTempoDrifts) {
  Rows instants;
  for (int i = 0; i < 12; ++i) {
    const double length = 1000.0 + 10.0 * i + (i % 2 == 0 ? 1.0 : -1.0);
    instants.push_back({0, length * 0.3, length});
  }
  const RhythmTiming timing = timing_of(performances_at(instants), 0.95);
  EXPECT_NEAR(timing.drift.value, 10.0 / 1055.0, 2e-4);
  EXPECT_GT(timing.drift.interval.lower, 0.0);
  EXPECT_THAT(timing.warnings, Contains(HasSubstr("get slower by 0.9")));
  EXPECT_FALSE(timing.drift_within);  // uneven
}

TEST(Timing, SaysHowAnEvenRhythmChangesWithin) {
  Rows instants;
  for (int i = 0; i < 6; ++i) {
    const double wobble = i % 2 == 0 ? 1.0 : -1.0;
    instants.push_back({0, 200 + wobble, 395, 585 + wobble, 770});
  }
  const RhythmTiming timing = timing_of(performances_at(instants), 0.95);
  ASSERT_TRUE(timing.drift_within);
  EXPECT_NEAR(timing.drift_within->value, -5.0 / 192.5, 2e-3);
  EXPECT_LT(timing.drift_within->interval.upper, 0.0);
}

TEST(Timing, NamesThePerformanceThatIsFarFromTheOthers) {
  auto performances = steady(12);
  performances[6].knocks[3].at_s += 0.3;
  EXPECT_THAT(timing_of(performances, 0.95).warnings,
              Contains(HasSubstr("performance 7 is far from the others")));
  EXPECT_THAT(timing_of(steady(12), 0.95).warnings, Not(Contains(HasSubstr("far from"))));
}

TEST(Timing, SaysWhatCannotBeTold) {
  const auto two = performances_at({{0, 98}, {0, 100}, {0, 102}});
  EXPECT_THAT(timing_of(two, 0.95).warnings, Contains(HasSubstr("two knocks")));
  const auto three = performances_at({{0, 98, 200}, {0, 100, 203}, {0, 102, 199}});
  EXPECT_THAT(timing_of(three, 0.95).warnings, Contains(HasSubstr("with three knocks")));
}

TEST(Timing, RefusesWhatIsNoRhythm) {
  EXPECT_THROW((void)timing_of(performances_at({{0, 1}, {0, 1}}), 0.95), std::domain_error);
  EXPECT_THROW((void)timing_of(performances_at({{0}, {0}, {0}}), 0.95), std::domain_error);
  EXPECT_THROW((void)timing_of(performances_at({{0, 1}, {0, 1, 2}, {0, 1}}), 0.95),
               std::domain_error);
  EXPECT_THROW((void)timing_of(performances_at({{0, 1}, {0, 0}, {0, 1}}), 0.95), std::domain_error);
}

TEST(KnockStrengths, HaveASpreadAboutEachKnocksOwnMean) {
  auto performances = performances_at({{0, 100}, {0, 100}, {0, 100}});
  const double soft[] = {0.9, 1.0, 1.1};
  for (std::size_t i = 0; i < 3; ++i) {
    performances[i].knocks[0].strength = 3.0 * soft[i];
    performances[i].knocks[1].strength = soft[2 - i];
  }
  const auto strength = knock_strength(performances, 0.95);
  ASSERT_TRUE(strength);
  EXPECT_NEAR(strength->mean, 2.0, 1e-9);
  EXPECT_NEAR(strength->accents[0], 1.5, 1e-9);
  EXPECT_NEAR(strength->cv.value, 0.1, 1e-9);
  // The two knocks go together, so they count as one: chi-square with 2 degrees of freedom.
  EXPECT_NEAR(strength->cv.interval.lower, 0.1 * std::sqrt(2.0 / 7.37776), 1e-6);
}

TEST(KnockStrengths, AreNothingWhereOneIsMissing) {
  EXPECT_FALSE(knock_strength(performances_at({{0, 100}, {0, 100}}), 0.95));
}

}  // namespace
}  // namespace plexor::analysis
