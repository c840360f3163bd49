#include "rig/intake.hpp"
#include "rig/told.hpp"

namespace plexor::rig {
namespace {

using namespace std::chrono_literals;
using ::testing::ElementsAre;
using ::testing::SizeIs;

class IntakeTest : public ::testing::Test {
 protected:
  Intake::Taken take(const std::string& message, base::Duration at) {
    return intake_.take(message, lines::KernelInstant{} + 1h + at);
  }

  Told told_;
  Intake intake_{"panel", {.pattern = R"(^(?P<event>\w+) #(?P<id>\d+)$)"}, told_.hearers()};
};

TEST_F(IntakeTest, AnIdOfTheLastMinuteIsARepetitionWhichIsSaidOnce) {
  EXPECT_EQ(take("call #1", 0s), Intake::Taken::told);
  EXPECT_EQ(take("call #1", 1s), Intake::Taken::repeated);
  EXPECT_EQ(take("call #1", 59s), Intake::Taken::repeated);
  EXPECT_THAT(told_.events(), ElementsAre("call"));
  EXPECT_THAT(told_.remarks(), SizeIs(1));
}

TEST_F(IntakeTest, ADeviceThatStartsAnewCountsAnew) {
  for (int id = 1; id <= 5; ++id) (void)take("call #" + std::to_string(id), id * 1s);
  EXPECT_EQ(take("kiln #1", 90s), Intake::Taken::told);
  EXPECT_EQ(told_.reports().size(), 6U);
}

}  // namespace
}  // namespace plexor::rig
