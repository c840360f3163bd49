#include "analysis/signal/triggers.hpp"

#include <gmock/gmock.h>

namespace plexor::analysis {
namespace {

using testing::ElementsAre;
using testing::IsEmpty;
using Codes = std::vector<std::int32_t>;

TEST(Triggers, ComeAtTheThresholdOnEitherSide) {
  const Codes codes{100, 109, 110, 100, 90, 91};
  EXPECT_THAT(triggers_in(codes, 100.0, 10.0, 1), ElementsAre(2, 4));
  EXPECT_THAT(triggers_in(codes, 100.0, 11.0, 1), IsEmpty());
  EXPECT_THAT(triggers_in(Codes{}, 100.0, 1.0, 1), IsEmpty());
}

TEST(Triggers, AreDeafForTheLockoutAndNoLonger) {
  const Codes codes{9, 9, 9, 9, 9, 9, 9};
  EXPECT_THAT(triggers_in(codes, 0.0, 5.0, 3), ElementsAre(0, 3, 6));
  EXPECT_THAT(triggers_in(codes, 0.0, 5.0, 0), ElementsAre(0, 1, 2, 3, 4, 5, 6));
}

TEST(Triggers, InBinsLookAtBothEnvelopes) {
  const Codes lowest{98, 80, 98, 98, 98};
  const Codes highest{102, 102, 102, 120, 120};
  EXPECT_THAT(triggers_in_bins(lowest, highest, 100.0, 20.0, 1), ElementsAre(1, 3, 4));
  EXPECT_THAT(triggers_in_bins(lowest, highest, 100.0, 20.0, 3), ElementsAre(1, 4));
}

}  // namespace
}  // namespace plexor::analysis
