// Alarms in bursts: hours as blocks, their scatter, and the interval that allows for it.

#include "analysis/soak/hour_blocks.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <boost/math/distributions/students_t.hpp>
#include <cmath>

#include "analysis/journal_builder.hpp"

namespace plexor::analysis {
namespace {

using ::testing::HasSubstr;

std::vector<Events> hours_with(const std::vector<std::uint64_t>& counts) {
  std::vector<Events> blocks;
  for (const std::uint64_t count : counts) blocks.push_back({.count = count, .exposure = 1.0});
  return blocks;
}

TEST(HourBlocks, AreHoursOfListeningTheLastOneLongerOrShorter) {
  const std::vector<double> alarms{0.2, 0.9, 1.0, 3.4};
  const std::vector<Events> longer = hour_blocks(alarms, 3.4);
  ASSERT_EQ(longer.size(), 3U);
  EXPECT_EQ(longer[0].count, 2U);
  EXPECT_EQ(longer[1].count, 1U);
  EXPECT_EQ(longer[2].count, 1U);
  EXPECT_NEAR(longer[2].exposure, 1.4, 1e-12);
  EXPECT_NEAR(hour_blocks(alarms, 3.6).back().exposure, 0.6, 1e-12);
  EXPECT_EQ(hour_blocks({}, 0.1).size(), 1U);
  EXPECT_TRUE(hour_blocks({}, 0.0).empty());
}

TEST(HourScatter, IsNotJudgedByAFewHours) {
  EXPECT_FALSE(hour_scatter(hours_with({9, 0, 0})));
  EXPECT_TRUE(hour_scatter(hours_with({9, 0, 0, 0})));
}

TEST(HourScatter, OfOneSteadyRateLeavesGarwoodsInterval) {
  const auto scatter = hour_scatter(hours_with({2, 3, 1, 2, 4, 2, 1, 3}));
  ASSERT_TRUE(scatter);
  EXPECT_GT(scatter->p, 0.5);
  EXPECT_FALSE(scatter->by_hours);
}

TEST(HourScatter, OfBurstsWidensTheInterval) {
  const auto scatter = hour_scatter(hours_with({0, 11, 0, 0, 1, 0, 6, 0}));
  ASSERT_TRUE(scatter);
  // Pearson's chi-square by hand: mean 2.25, sum of squares 158 less 8 * 2.25^2, by 2.25, by 7.
  EXPECT_NEAR(scatter->index, (158.0 - 8.0 * 2.25 * 2.25) / 2.25 / 7.0, 1e-9);
  EXPECT_LT(scatter->p, 1e-6);
  ASSERT_TRUE(scatter->by_hours);
  const Interval steady = garwood(18, 8.0, 0.95, Sides::two);
  EXPECT_LT(scatter->by_hours->lower, steady.lower);
  EXPECT_GT(scatter->by_hours->upper, steady.upper);
  EXPECT_EQ(scatter->by_hours->method, "hour blocks");
}

TEST(HourScatter, OfManyAlarmsComesToStudentsInterval) {
  // The textbook's interval of a mean of blocks: mean +- t * s / sqrt(k).
  const std::vector<std::uint64_t> counts{40'000, 42'000, 38'500, 41'200, 39'100, 43'000};
  double mean = 0.0;
  for (const std::uint64_t count : counts) mean += static_cast<double>(count) / 6.0;
  double squares = 0.0;
  for (const std::uint64_t count : counts)
    squares += std::pow(static_cast<double>(count) - mean, 2);
  const double half =
      quantile(boost::math::students_t(5.0), 0.975) * std::sqrt(squares / 5.0 / 6.0);
  const auto scatter = hour_scatter(hours_with(counts));
  ASSERT_TRUE(scatter && scatter->by_hours);
  EXPECT_NEAR(scatter->by_hours->upper, mean + half, 0.03 * half);
  EXPECT_NEAR(scatter->by_hours->lower, mean - half, 0.03 * half);
}

TEST(RateByHours, IsNeverNarrowerThanGarwoods) {
  const HourScatter even{.hours = 8, .index = 0.3, .p = 0.9};
  for (const Sides sides : {Sides::two, Sides::lower, Sides::upper}) {
    const Interval steady = garwood(12, 8.0, 0.9, sides);
    const Interval wide = rate_by_hours({.count = 12, .exposure = 8.0}, even, 0.9, sides);
    EXPECT_LE(wide.lower, steady.lower);
    EXPECT_GE(wide.upper, steady.upper);
  }
  const HourScatter bursts{.hours = 8, .index = 5.0, .p = 0.001};
  const Interval none = rate_by_hours({.count = 0, .exposure = 8.0}, bursts, 0.9, Sides::two);
  EXPECT_EQ(none.lower, 0.0);
}

/// Eight hours of quiet, with so many alarms in each, 10 s apart.
Results night_with(const std::vector<int>& alarms, const std::string& limit) {
  JournalBuilder journal;
  journal.accept(limit);
  for (const int count : alarms) {
    journal.quiet(1h);
    for (int i = 0; i < count; ++i) journal.heard("call", 5min + i * 10s);
  }
  return journal.ended().results();
}

TEST(Verdict, OnAlarmsInBurstsGoesByHourBlocks) {
  const std::string limit = "false_alarms_per_hour = { at_most = 1.7, confidence = 0.9 }";
  const Results steady = night_with({1, 0, 1, 1, 1, 0, 1, 1}, limit);
  const Results bursts = night_with({0, 0, 6, 0, 0, 0, 0, 0}, limit);
  // The same six alarms: at one steady rate below the limit, in a burst nobody knows.
  EXPECT_EQ(steady.verdicts.front().judgement, Judgement::pass);
  EXPECT_EQ(bursts.verdicts.front().judgement, Judgement::undecided);
  EXPECT_EQ(bursts.verdicts.front().interval->method, "hour blocks");
  EXPECT_THAT(bursts.verdicts.front().reason, HasSubstr("in bursts"));
  ASSERT_FALSE(bursts.devices.front().remarks.empty());
  EXPECT_THAT(bursts.devices.front().remarks.front(), HasSubstr("over 8 hours of quiet"));
  EXPECT_TRUE(steady.devices.front().remarks.empty());
  EXPECT_EQ(bursts.devices.front().false_alarms.shown()->method, "hour blocks");
  EXPECT_EQ(steady.devices.front().false_alarms.shown()->method, "Garwood");
}

TEST(Verdict, OfASequentialTestSaysThatItTakesBurstsForASteadyRate) {
  const Results bursts =
      night_with({0, 0, 6, 0, 0, 0, 0, 0},
                 "false_alarms_per_hour = { sequential = { good = 0.2, bad = 2.0 } }");
  EXPECT_THAT(bursts.devices.front().remarks.front(), HasSubstr("errs more often"));
  EXPECT_FALSE(bursts.devices.front().false_alarms.shown());
}

}  // namespace
}  // namespace plexor::analysis
