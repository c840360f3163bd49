#include "safety/permit.hpp"

#include <gtest/gtest.h>

#include <thread>

namespace plexor::safety {
namespace {

TEST(Permit, AllowsNothingUntilItIsGiven) {  // [S60]
  const Permit permit;
  EXPECT_FALSE(permit.allows(0));
  EXPECT_FALSE(permit.allows(1));
}

TEST(Permit, AllowsPulsesOfItsOwnEpochAlone) {  // [S8] [S60]
  Permit permit;
  permit.give(2);
  EXPECT_TRUE(permit.allows(2));
  EXPECT_FALSE(permit.allows(1)) << "stale";
  EXPECT_FALSE(permit.allows(3)) << "not begun";
  EXPECT_FALSE(permit.allows(0)) << "no epoch";
}

TEST(Permit, TakenIsTakenUntilGivenAgain) {  // [S60]
  Permit permit;
  permit.give(1);
  permit.take();
  EXPECT_FALSE(permit.allows(1));
  EXPECT_FALSE(permit.allows(0));
  permit.give(2);
  EXPECT_FALSE(permit.allows(1));
  EXPECT_TRUE(permit.allows(2));
}

TEST(Permit, IsTakenFromAnyThread) {  // [S60]
  Permit permit;
  permit.give(7);
  std::thread([&permit] { permit.take(); }).join();
  EXPECT_FALSE(permit.allows(7));
}

}  // namespace
}  // namespace plexor::safety
