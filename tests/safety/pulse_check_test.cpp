#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <limits>
#include <regex>
#include <stdexcept>
#include <vector>

#include "safety/example_tapper.hpp"

namespace plexor::safety {
namespace {

using base::Instant;
using base::Pulse;
using ::testing::AllOf;
using ::testing::HasSubstr;
using Pulses = std::vector<Pulse>;

constexpr Instant begin = base::segment_start;

PulseCheck example_check(const Limits& limits = example_limits(),
                         const CoilModel& coil = example_coil()) {
  return {limits, coil, {cold(coil)}, begin};
}

std::string limit_of(const std::optional<Refusal>& refusal) {
  return refusal ? refusal->limit : "none";
}

/// The wait in milliseconds that a refusal says would fit.
base::Duration wait_in(const Refusal& refusal) {
  std::smatch found;
  const bool says = std::regex_search(refusal.reason, found, std::regex("beginning (\\d+) ms"));
  return says ? std::chrono::milliseconds{std::stoll(found[1])} : -1ms;
}

TEST(PulseCheck, LetsAKnockPass) {
  EXPECT_FALSE(example_check().check(Pulses{{begin + 1s, 12ms}, {begin + 1190ms, 12ms}}));
}

TEST(PulseCheck, NamesThePulseTheLengthAndWhatWouldFit) {  // [S42]
  const auto refusal = example_check().check(Pulses{{begin + 1s, 30ms}, {begin + 2s, 34ms}});
  ASSERT_TRUE(refusal);
  EXPECT_EQ(refusal->limit, "pulse length");
  EXPECT_THAT(refusal->reason,
              AllOf(HasSubstr("pulse 2 is 34 ms long"), HasSubstr("at most 30 ms would fit")));
}

TEST(PulseCheck, RefusesPulsesOfNoLengthAndOfNegativeLength) {  // [S42]
  for (const base::Duration length :
       {base::Duration{0}, base::Duration{-1}, base::Duration::min(), base::Duration::max()}) {
    EXPECT_EQ(limit_of(example_check().check(Pulses{{begin + 1s, length}})), "pulse length");
  }
}

TEST(PulseCheck, HoldsTheRestWithinATrialToTheNanosecond) {  // [S43]
  const auto with_rest = [](base::Duration rest) {
    return example_check().check(Pulses{{begin, 10ms}, {begin + 10ms + rest, 10ms}});
  };
  EXPECT_FALSE(with_rest(40ms));
  const auto refusal = with_rest(40ms - 1ns);
  ASSERT_TRUE(refusal);
  EXPECT_EQ(refusal->limit, "rest");
  EXPECT_THAT(refusal->reason, AllOf(HasSubstr("pulse 2"), HasSubstr("39.999999 ms after"),
                                     HasSubstr("a rest of 40 ms would fit")));
}

TEST(PulseCheck, HoldsTheRestAgainstTheLastAcceptedPulse) {  // [S43]
  PulseCheck check = example_check();
  check.accept(Pulses{{begin + 1s, 10ms}});
  EXPECT_EQ(limit_of(check.check(Pulses{{begin + 1049ms, 10ms}})), "rest");
  EXPECT_FALSE(check.check(Pulses{{begin + 1050ms, 10ms}}));
}

TEST(PulseCheck, HoldsTheRestEvenAfterTheDutySpanHasPassed) {  // [S43]
  Limits limits = example_limits();
  limits.duty_span = 1s;
  limits.max_on_in_span = 250ms;
  limits.min_rest = 5s;
  PulseCheck check = example_check(limits);
  check.accept(Pulses{{begin, 10ms}});
  EXPECT_EQ(limit_of(check.check(Pulses{{begin + 4s, 10ms}})), "rest");
}

TEST(PulseCheck, RefusesOverlapAndPulsesOutOfOrder) {  // [S43]
  EXPECT_EQ(limit_of(example_check().check(Pulses{{begin, 20ms}, {begin + 10ms, 20ms}})), "rest");
  EXPECT_EQ(limit_of(example_check().check(Pulses{{begin + 1s, 20ms}, {begin, 20ms}})), "rest");
}

TEST(PulseCheck, RefusesThePast) {  // [S51]
  PulseCheck check(example_limits(), example_coil(), {cold(example_coil())}, begin + 10s);
  const auto refusal = check.check(Pulses{{begin + 9s, 10ms}});
  EXPECT_EQ(limit_of(refusal), "instant");
  EXPECT_THAT(refusal->reason, HasSubstr("1000 ms in the past"));
}

TEST(PulseCheck, RefusesInstantsNearTheEndsOfTheClock) {  // [S51]
  for (const auto& at :
       {Instant::max(), Instant::max() - 1ms, Instant::min(), Instant::min() + 1s}) {
    EXPECT_EQ(limit_of(example_check().check(Pulses{{at, 10ms}})), "instant");
    EXPECT_EQ(limit_of(example_check().check(Pulses{{begin, 10ms}, {at, 10ms}})), "instant");
  }
}

TEST(PulseCheck, RefusesAPulseThatEndsBeyondTheClockOrBeginsBeforeIt) {  // [S51]
  const auto last = Instant{base::Duration{std::int64_t{1} << 61}};
  const auto first = Instant{-last.time_since_epoch()};
  EXPECT_FALSE(example_check().check(Pulses{{last - 10ms, 10ms}}));
  EXPECT_EQ(limit_of(example_check().check(Pulses{{last - 9ms, 10ms}})), "instant");
  PulseCheck early(example_limits(), example_coil(), {cold(example_coil())}, first);
  EXPECT_FALSE(early.check(Pulses{{first, 10ms}}));
  EXPECT_THAT(early.check(Pulses{{first - 1ms, 10ms}}).value().reason, HasSubstr("73 years"));
  EXPECT_THROW(PulseCheck(example_limits(), example_coil(), {cold(example_coil())}, last + 1ns),
               std::logic_error);
  EXPECT_THROW(PulseCheck(example_limits(), example_coil(), {cold(example_coil())}, first - 1ns),
               std::logic_error);
}

TEST(PulseCheck, LetsAnEmptyTrialPassAndForgetsNothingByIt) {
  PulseCheck check = example_check();
  check.accept(Pulses{{begin, 10ms}});
  check.accept({});
  EXPECT_FALSE(check.check({}));
  EXPECT_EQ(limit_of(check.check(Pulses{{begin + 20ms, 10ms}})), "rest");
}

// Duty verdicts of physics_checks.csv (DIN VDE 0580), with seconds read as milliseconds:
// the rule has no scale of its own.
std::string cycles_verdict(base::Duration on, base::Duration off, double percent,
                           base::Duration span, int cycles) {
  Limits limits = example_limits();
  limits.max_pulse = 200us;
  limits.min_rest = 1us;
  limits.duty_percent = percent;
  limits.duty_span = span;
  limits.max_on_in_span = base::Duration{span.count() * static_cast<int>(percent) / 100};
  limits.max_pulse = std::min<base::Duration>(limits.max_on_in_span, 200ms);
  PulseCheck check = example_check(limits);
  for (int cycle = 0; cycle < cycles; ++cycle) {
    const Pulses pulse{{begin + cycle * (on + off), on}};
    if (const auto refusal = check.check(pulse)) return refusal->limit;
    check.accept(pulse);
  }
  return "none";
}

TEST(PulseCheck, AgreesWithThePublishedDutyVerdicts) {                      // [S44]
  EXPECT_EQ(cycles_verdict(50us, 450us, 25.0, 300ms, 1200), "none");        // S17
  EXPECT_EQ(cycles_verdict(80ms, 220ms, 25.0, 300ms, 3), "pulse length");   // S18
  EXPECT_EQ(cycles_verdict(100ms, 400ms, 25.0, 300ms, 3), "pulse length");  // S19
  EXPECT_EQ(cycles_verdict(3ms, 9ms, 15.0, 300ms, 50), "duty");             // S20
}

TEST(PulseCheck, RefusesTheLongestOnTimeEvenWhereTheRatioIsKept) {  // [S44]
  Limits limits = example_limits();
  limits.max_on_in_span = 50ms;
  PulseCheck check = example_check(limits);
  check.accept(Pulses{{begin, 20ms}, {begin + 1s, 20ms}});
  EXPECT_FALSE(check.check(Pulses{{begin + 2s, 10ms}}));
  const auto refusal = check.check(Pulses{{begin + 2s, 10ms + 1ns}});
  ASSERT_TRUE(refusal);
  EXPECT_EQ(refusal->limit, "duty");
  EXPECT_THAT(refusal->reason, AllOf(HasSubstr("pulse 1"), HasSubstr("limit is 50 ms")));
}

TEST(PulseCheck, HoldsTheRatioToTheNanosecondWhereTheLongestOnTimeIsKept) {  // [S44]
  Limits limits = example_limits();
  limits.duty_span = 200ms;  // 25 % of it are 50 ms
  limits.max_on_in_span = 200ms;
  const auto with_second = [&](base::Duration on) {
    return example_check(limits).check(Pulses{{begin, 25ms}, {begin + 100ms, on}});
  };
  EXPECT_FALSE(with_second(25ms));
  EXPECT_EQ(limit_of(with_second(25ms + 1ns)), "duty");
}

TEST(PulseCheck, CountsOfATrialLongerThanTheSpanOnlyWhatLiesInTheSpan) {  // [S44]
  Limits limits = example_limits();
  limits.duty_span = 1s;
  limits.max_on_in_span = 30ms;
  const auto with_third_at = [&](base::Duration at) {
    return example_check(limits).check(
        Pulses{{begin, 20ms}, {begin + 500ms, 10ms}, {begin + at, 20ms}});
  };
  EXPECT_FALSE(with_third_at(1000ms));
  EXPECT_EQ(limit_of(with_third_at(1000ms - 1ns)), "duty");
}

TEST(PulseCheck, SaysHowLongToWaitForDutyAndMeansIt) {
  Limits limits = example_limits();
  limits.duty_span = 10s;
  limits.max_on_in_span = 60ms;
  PulseCheck check = example_check(limits);
  check.accept(Pulses{{begin, 25ms}, {begin + 3s, 25ms}});
  const auto refusal = check.check(Pulses{{begin + 5s, 10ms}, {begin + 6s, 20ms}});
  ASSERT_TRUE(refusal);
  EXPECT_EQ(limit_of(refusal), "duty");
  const base::Duration wait = wait_in(*refusal);
  EXPECT_FALSE(check.check(Pulses{{begin + 5s, 10ms}, {begin + 6s + wait, 20ms}}));
  EXPECT_TRUE(check.check(Pulses{{begin + 5s, 10ms}, {begin + 6s + wait - 1ms, 20ms}}));
}

TEST(PulseCheck, ShowsTheDutyOfTheSpanThatEndsNow) {
  Limits limits = example_limits();
  limits.duty_span = 1s;
  limits.max_on_in_span = 250ms;
  PulseCheck check = example_check(limits);
  EXPECT_EQ(check.duty_percent_at(begin), 0.0);
  check.accept(Pulses{{begin, 20ms}, {begin + 500ms, 30ms}});
  EXPECT_NEAR(check.duty_percent_at(begin + 530ms), 5.0, 1e-12);
  EXPECT_NEAR(check.duty_percent_at(begin + 1010ms), 4.0, 1e-12);
  EXPECT_NEAR(check.duty_percent_at(begin + 1520ms), 1.0, 1e-12);
  EXPECT_EQ(check.duty_percent_at(begin + 24h), 0.0);
}

CoilModel hot_headed_coil() {
  CoilModel coil = example_coil();
  coil.winding_j_k = 0.05;
  coil.winding_to_body_k_w = 40.0;
  return coil;
}

TEST(PulseCheck, RefusesAPulseThatOverheatsTheWindingAndSaysHowLongToWait) {  // [S45]
  PulseCheck check = example_check(example_limits(), hot_headed_coil());
  Pulses trial;
  for (int i = 0; i < 30; ++i) trial.push_back({begin + i * 70ms, 30ms});
  const auto refusal = check.check(trial);
  ASSERT_EQ(limit_of(refusal), "coil temperature");
  EXPECT_THAT(refusal->reason, HasSubstr("105 degC less a margin of 15 K"));

  std::smatch found;
  ASSERT_TRUE(std::regex_search(refusal->reason, found, std::regex("pulse (\\d+)")));
  trial.resize(std::stoul(found[1]));
  const Instant asked = trial.back().on;
  trial.back().on = asked + wait_in(*refusal);
  EXPECT_FALSE(check.check(trial));
  trial.back().on -= 1ms;
  EXPECT_EQ(limit_of(check.check(trial)), "coil temperature");
}

TEST(PulseCheck, SaysWhenNoRestIsEnoughForTheCoil) {
  CoilModel coil = hot_headed_coil();
  coil.supply_v = 60.0;
  const auto refusal = example_check(example_limits(), coil).check(Pulses{{begin, 30ms}});
  ASSERT_EQ(limit_of(refusal), "coil temperature");
  EXPECT_THAT(refusal->reason, HasSubstr("even a day of rest would not be enough"));
}

TEST(PulseCheck, RefusesAWindingThatIsAlreadyTooHotEvenIfThePulseWouldNotHeatIt) {  // [S45]
  CoilModel weak = example_coil();
  weak.supply_v = 0.1;
  const Pulses pulse{{begin, 30ms}};
  PulseCheck hot(example_limits(), weak, {{90.0001, 23.0}}, begin);
  EXPECT_LT(after(weak, {90.0001, 23.0}, 30ms, true).winding_c, 90.0);
  EXPECT_EQ(limit_of(hot.check(pulse)), "coil temperature");
}

TEST(PulseCheck, LetsAWindingPassThatIsJustAtItsLimit) {  // [S45]
  CoilModel weak = example_coil();
  weak.supply_v = 0.1;
  PulseCheck warm(example_limits(), weak, {{90.0, 23.0}}, begin);
  EXPECT_FALSE(warm.check(Pulses{{begin, 30ms}}));
}

TEST(PulseCheck, TakesATemperatureThatIsNoNumberForTooHot) {  // [S45]
  const double nan = std::numeric_limits<double>::quiet_NaN();
  for (const CoilState unknown : {CoilState{nan, 23.0}, CoilState{23.0, nan}}) {
    PulseCheck check(example_limits(), example_coil(), {unknown}, begin);
    EXPECT_EQ(limit_of(check.check(Pulses{{begin + 1s, 10ms}})), "coil temperature");
  }
}

TEST(PulseCheck, FollowsTheThermalModel) {
  PulseCheck check = example_check();
  check.accept(Pulses{{begin + 1s, 30ms}});
  const CoilModel coil = example_coil();
  const CoilState expected = after(coil, after(coil, cold(coil), 30ms, true), 5s, false);
  EXPECT_NEAR(check.coil_at(begin + 6030ms).winding_c, expected.winding_c, 1e-9);
  EXPECT_NEAR(check.coil_at(begin + 6030ms).body_c, expected.body_c, 1e-9);
}

TEST(PulseCheck, TakesIntoAccountWhatWasGivenEvenIfItWouldNotHaveFitted) {  // [S52]
  PulseCheck check = example_check();
  check.accept(Pulses{{begin, 2s}});
  EXPECT_GT(check.coil_at(begin + 2s).winding_c, 24.0);
  EXPECT_NEAR(check.duty_percent_at(begin + 2s), 100.0 * 2 / 300, 1e-12);
}

TEST(PulseCheck, IsAValueThatCanLookAhead) {
  const PulseCheck now = example_check();
  PulseCheck ahead = now;
  ahead.accept(Pulses{{begin, 20ms}});
  EXPECT_FALSE(now.check(Pulses{{begin + 10ms, 20ms}}));
  EXPECT_TRUE(ahead.check(Pulses{{begin + 10ms, 20ms}}));
}

TEST(PulseCheck, CannotBeMadeFromLimitsOrACoilThatDoNotProtect) {  // [S50]
  Limits above = example_limits();
  above.duty_percent = 41.0;
  EXPECT_THROW(example_check(above), std::logic_error);
  for (const auto figure :
       {&CoilModel::resistance_20c_ohm, &CoilModel::winding_j_k, &CoilModel::body_j_k,
        &CoilModel::winding_to_body_k_w, &CoilModel::body_to_air_k_w, &CoilModel::supply_v}) {
    for (const double bad : {0.0, -1.0, std::numeric_limits<double>::infinity(),
                             std::numeric_limits<double>::quiet_NaN()}) {
      CoilModel coil = example_coil();
      coil.*figure = bad;
      EXPECT_THROW(example_check(example_limits(), coil), std::logic_error);
    }
  }
  CoilModel nowhere = example_coil();
  nowhere.ambient_c = std::numeric_limits<double>::quiet_NaN();
  EXPECT_THROW(example_check(example_limits(), nowhere), std::logic_error);
}

TEST(PulseCheck, DoesNotAnswerForItsPast) {
  PulseCheck check = example_check();
  check.accept(Pulses{{begin + 1s, 10ms}});
  EXPECT_THROW((void)check.coil_at(begin + 1s), std::logic_error);
  EXPECT_THROW((void)check.duty_percent_at(Instant::max()), std::logic_error);
  EXPECT_THROW(check.accept(Pulses{{begin + 1005ms, 10ms}}), std::logic_error);
  EXPECT_THROW(check.accept(Pulses{{begin + 2s, -1ms}}), std::logic_error);
  EXPECT_THROW(check.accept(Pulses{{begin + 2s, base::Duration::max()}}), std::logic_error);
}

}  // namespace
}  // namespace plexor::safety
