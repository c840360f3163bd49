#include "analysis/remarks.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace plexor::analysis {
namespace {

using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

/// `call` (two knocks) and `kiln` (three), each presented 100 times.
std::vector<std::string> remarks(std::uint64_t call_as_kiln, std::uint64_t kiln_as_call) {
  scenario::Scenario scenario;
  scenario.rhythms.resize(2);
  scenario.rhythms[0] = {"call", std::vector<base::Duration>(2), "call"};
  scenario.rhythms[1] = {"kiln", std::vector<base::Duration>(3), "kiln"};
  DeviceResult device;
  device.rhythms.resize(2);
  device.rhythms[0].rhythm = device.rhythms[0].expects = "call";
  device.rhythms[1].rhythm = device.rhythms[1].expects = "kiln";
  for (RhythmResult& rhythm : device.rhythms) rhythm.correct.n = 100;
  device.heard_names = {"", "call", "kiln"};
  device.confusion = {{0, 100 - call_as_kiln, call_as_kiln}, {0, kiln_as_call, 100 - kiln_as_call}};
  return remarks_on(device, scenario);
}

TEST(Remarks, PointAtLockoutWhereOneKnockIsHeardAsTwo) {
  EXPECT_THAT(remarks(17, 0), ElementsAre(AllOf(HasSubstr("17 of 100 presentations of call"),
                                                HasSubstr("kiln, which has 1 knock more"),
                                                HasSubstr("lockout and ring-down"))));
}

TEST(Remarks, PointAtTheThresholdWhereAKnockIsMissing) {
  EXPECT_THAT(remarks(0, 30), ElementsAre(AllOf(HasSubstr("call, which has 1 knock fewer"),
                                                HasSubstr("threshold"))));
}

TEST(Remarks, AreSilentAboutWhatMayBeChance) { EXPECT_THAT(remarks(4, 4), IsEmpty()); }

}  // namespace
}  // namespace plexor::analysis
