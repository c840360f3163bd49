#include "rig/line_sorter.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "rig/rate_cap.hpp"

namespace plexor::rig {
namespace {

using namespace std::chrono_literals;
using Kind = LineSorter::Kind;

ReportFormat serial(const std::string& pattern = "") { return {.pattern = pattern}; }
const IdentitySettings identity{.query = "version\n",
                                .pattern = R"(^panel (?P<version>\S+)$)",
                                .timeout = 1s,
                                .banner = "^panel boots"};

TEST(LineSorter, TellsReportsAnswersAndBannersApart) {
  LineSorter sorter("panel", serial(), identity);
  EXPECT_EQ(sorter.sort("call").kind, Kind::report);
  EXPECT_EQ(sorter.sort("panel boots").kind, Kind::banner) << "though it looks like an answer";
  const auto answer = sorter.sort("panel 1.4.0");
  EXPECT_EQ(answer.kind, Kind::answer);
  EXPECT_EQ(answer.version, "1.4.0");
}

TEST(LineSorter, WithoutIdentityEveryLineMayBeAReport) {
  LineSorter sorter("panel", serial(), {});
  EXPECT_EQ(sorter.sort("panel 1.4.0").kind, Kind::report);
}

TEST(LineSorter, ALineOfAnotherDeviceIsForeign) {
  LineSorter sorter("panel", serial(R"((?P<device>\w*):(?P<event>\w+))"), {});
  EXPECT_EQ(sorter.sort("panel:call").kind, Kind::report);
  EXPECT_EQ(sorter.sort("door:call").kind, Kind::foreign);
  EXPECT_EQ(sorter.sort(":call").kind, Kind::report) << "it does not say whose";
}

TEST(LineSorter, SaysOnceThatNoneOfTheFirstLinesMatched) {
  LineSorter sorter("panel", serial("(?P<event>knock)"), {});
  int told = 0;
  for (std::uint32_t line = 1; line <= 3 * LineSorter::enough_lines; ++line) {
    (void)sorter.sort("chatter");
    if (!sorter.has_matched_nothing()) continue;
    ++told;
    EXPECT_EQ(line, LineSorter::enough_lines);
  }
  EXPECT_EQ(told, 1);
}

TEST(LineSorter, OneLineThatMatchesIsEnough) {
  LineSorter sorter("panel", serial("(?P<event>knock)"), {});
  (void)sorter.sort("knock");
  for (std::uint32_t line = 0; line < 2 * LineSorter::enough_lines; ++line) {
    (void)sorter.sort("chatter");
    EXPECT_FALSE(sorter.has_matched_nothing());
  }
}

/// How many of those that come so often pass.
std::int64_t passed(RateCap& cap, base::Duration between, int many) {
  std::int64_t passed = 0;
  for (int i = 0; i < many; ++i)
    passed += cap.lets_pass(lines::KernelInstant{1h + i * between}) ? 1 : 0;
  return passed;
}

TEST(RateCap, LetsPassWhatANormalDeviceSends) {
  RateCap cap;
  EXPECT_EQ(passed(cap, 20ms, 5000), 5000);
  EXPECT_EQ(cap.held_back(), 0U);
}

TEST(RateCap, LetsPassABurst) {
  RateCap cap;
  EXPECT_EQ(passed(cap, 0ms, 1000), RateCap::at_once);
}

TEST(RateCap, HoldsAFloodBackAndCountsIt) {
  RateCap cap;
  const std::int64_t through = passed(cap, 100us, 100'000);  // 10 s
  EXPECT_NEAR(static_cast<double>(through), RateCap::at_once + 10.0 * RateCap::per_second, 2.0);
  EXPECT_EQ(cap.held_back(), 100'000U - static_cast<std::uint64_t>(through));
}

}  // namespace
}  // namespace plexor::rig
