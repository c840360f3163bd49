#include "safety/wiring.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "example_tapper.hpp"

namespace plexor::safety {
namespace {

using ::testing::AllOf;
using ::testing::HasSubstr;

constexpr base::Duration moment{1};

Tiers good_tiers() {
  return {.heartbeat_age = 50ms, .longest_pulse = 40ms, .one_shot = 100ms, .longest_on = 60ms};
}

std::string refusal_of(const Tiers& tiers) {
  const auto refusal = check_tiers(example_limits(), tiers);
  return refusal ? refusal->limit + ": " + refusal->reason : "";
}

std::string with(base::Duration Tiers::*tier, base::Duration value) {
  Tiers tiers = good_tiers();
  tiers.*tier = value;
  return refusal_of(tiers);
}

TEST(Tiers, EachAboveTheOneBeforePass) { EXPECT_EQ(refusal_of(good_tiers()), ""); }

TEST(Tiers, TheWardenStandsAboveThePlan) {  // [S71]
  EXPECT_EQ(with(&Tiers::longest_pulse, 30ms + moment), "");
  EXPECT_THAT(with(&Tiers::longest_pulse, 30ms),
              AllOf(HasSubstr("the plan's longest pulse is 30 ms"),
                    HasSubstr("the warden's longest pulse, 30 ms")));
  EXPECT_NE(with(&Tiers::longest_pulse, 20ms), "");
}

TEST(Tiers, WhatIsOutsideStandsAboveTheWarden) {  // [S71]
  EXPECT_EQ(with(&Tiers::longest_on, 40ms + moment), "");
  EXPECT_THAT(with(&Tiers::longest_on, 40ms),
              AllOf(HasSubstr("the warden's longest pulse is 40 ms"),
                    HasSubstr("the longest on-time outside, 40 ms")));
  EXPECT_NE(with(&Tiers::longest_on, 35ms), "");
}

TEST(Tiers, NothingOutsideGoesAboveTheCeilingOfTheBuild) {  // [S71]
  EXPECT_EQ(with(&Tiers::longest_on, 300ms), "");
  EXPECT_THAT(with(&Tiers::longest_on, 300ms + moment), HasSubstr("the ceiling of this build"));
}

TEST(Tiers, TheHeartbeatsAgeLeavesRoomForATickAndEndsInTime) {  // [S71]
  EXPECT_EQ(with(&Tiers::heartbeat_age, 20ms), "");
  EXPECT_THAT(with(&Tiers::heartbeat_age, 20ms - moment), HasSubstr("what a tick"));
  EXPECT_EQ(with(&Tiers::heartbeat_age, 500ms), "");
  EXPECT_THAT(with(&Tiers::heartbeat_age, 500ms + moment),
              AllOf(HasSubstr("the heartbeat's age"), HasSubstr("ceiling")));
}

TEST(Tiers, TheOneShotLeavesRoomForATickAndEndsInTime) {  // [S71]
  EXPECT_EQ(with(&Tiers::one_shot, 20ms), "");
  EXPECT_THAT(with(&Tiers::one_shot, 20ms - moment), HasSubstr("the one-shot"));
  EXPECT_EQ(with(&Tiers::one_shot, 500ms), "");
  EXPECT_THAT(with(&Tiers::one_shot, 500ms + moment),
              AllOf(HasSubstr("the one-shot is"), HasSubstr("ceiling")));
}

TEST(Tiers, NoTimeAtAllIsRefusedEverywhere) {  // [S71]
  for (const auto tier :
       {&Tiers::heartbeat_age, &Tiers::longest_pulse, &Tiers::one_shot, &Tiers::longest_on}) {
    EXPECT_NE(with(tier, 0ms), "");
    EXPECT_NE(with(tier, -1ms), "");
  }
}

}  // namespace
}  // namespace plexor::safety
