#include "base/stretch.hpp"

#include <gtest/gtest.h>

namespace plexor::base {
namespace {

using namespace std::chrono_literals;

constexpr Stretch whole{10s, 20s};

std::vector<Stretch> left_by(const std::vector<Stretch>& others) { return beside(whole, others); }

TEST(Stretch, IsWholeBesideNothingAndWhatDoesNotTouchIt) {
  EXPECT_EQ(left_by({}), std::vector{whole});
  EXPECT_EQ(left_by({{1s, 10s}, {20s, 25s}}), std::vector{whole});
}

TEST(Stretch, IsCutByWhatLiesInItAndByItsEnds) {
  EXPECT_EQ(left_by({{5s, 11s}, {12s, 13s}, {18s, 30s}}),
            (std::vector<Stretch>{{11s, 12s}, {13s, 18s}}));
  EXPECT_EQ(left_by({{0s, 30s}}), std::vector<Stretch>{});
}

TEST(Stretch, IsCutOnceByWhatOverlaps) {
  EXPECT_EQ(left_by({{11s, 18s}, {12s, 13s}, {17s, 19s}}),
            (std::vector<Stretch>{{10s, 11s}, {19s, 20s}}));
}

}  // namespace
}  // namespace plexor::base
