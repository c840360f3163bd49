#include "rig/edge_reader.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>

namespace plexor::rig {
namespace {

using namespace std::chrono_literals;
using lines::KernelInstant;
using lines::Level;
using ::testing::ElementsAre;
using ::testing::IsEmpty;
using ::testing::Pair;

LineSettings setting(LineReport report) {
  return {.report = report, .debounce = 5ms, .pulse_gap = 100ms, .events = {"call"}};
}

/// What comes of edges at these milliseconds, the first an activation, the next its end, and so
/// on; then silence. Pairs of pulses and the instant in milliseconds.
std::vector<std::pair<std::size_t, int>> read(LineReport report, const std::vector<int>& edges_ms) {
  EdgeReader reader(setting(report));
  std::vector<std::pair<std::size_t, int>> meanings;
  const auto settle = [&](KernelInstant now) {
    if (const auto meaning = reader.settled(now)) {
      meanings.emplace_back(meaning->pulses, meaning->at.time_since_epoch() / 1ms);
    }
  };
  Level level = Level::active;
  for (const int ms : edges_ms) {
    const KernelInstant at{std::chrono::milliseconds{ms}};
    settle(at);
    reader.take(level, at);
    settle(at);
    level = level == Level::active ? Level::inactive : Level::active;
  }
  settle(KernelInstant{1h});
  return meanings;
}

TEST(EdgeReader, EachActivationIsAnEvent) {
  EXPECT_THAT(read(LineReport::edge, {100, 150, 200, 250}),
              ElementsAre(Pair(1, 100), Pair(1, 200)));
}

TEST(EdgeReader, AContactThatBouncesCountsOnceAtItsFirstEdge) {
  EXPECT_THAT(read(LineReport::edge, {100, 101, 103, 104, 108, 150, 153, 154}),
              ElementsAre(Pair(1, 100)));
}

TEST(EdgeReader, CountsPulsesAndTellsThemWithTheLast) {
  EXPECT_THAT(read(LineReport::pulses, {100, 110, 150, 160, 200, 210}), ElementsAre(Pair(3, 200)));
}

TEST(EdgeReader, ACountEndsWithTheGap) {
  EXPECT_THAT(read(LineReport::pulses, {100, 110, 199, 209, 299, 310}),
              ElementsAre(Pair(2, 199), Pair(1, 299)));
}

TEST(EdgeReader, PulsesThatBounceCountOnce) {
  EXPECT_THAT(read(LineReport::pulses, {100, 101, 102, 120, 160, 161, 163, 180}),
              ElementsAre(Pair(2, 160)));
}

TEST(EdgeReader, ALevelCountsIfItHolds) {
  EXPECT_THAT(read(LineReport::level, {100, 104, 200, 205, 300, 400}),
              ElementsAre(Pair(1, 200), Pair(1, 300)));
}

TEST(EdgeReader, SaysWhenItWillBeCertain) {
  EdgeReader reader(setting(LineReport::pulses));
  EXPECT_FALSE(reader.settles_at());
  reader.take(Level::active, KernelInstant{1s});
  EXPECT_EQ(reader.settles_at(), KernelInstant{1100ms});
  EXPECT_FALSE(reader.settled(KernelInstant{1100ms - 1ns}));
  EXPECT_TRUE(reader.settled(KernelInstant{1100ms}));
  EXPECT_FALSE(reader.settles_at());
}

TEST(EdgeReader, SilenceIsNothing) { EXPECT_THAT(read(LineReport::pulses, {}), IsEmpty()); }

}  // namespace
}  // namespace plexor::rig
