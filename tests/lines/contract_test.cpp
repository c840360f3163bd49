#include "lines/contract.hpp"

namespace plexor::lines {
namespace {

INSTANTIATE_TYPED_TEST_SUITE_P(VirtualLines, LinesContract, testing::Types<VirtualBench>);

TEST(RequestLines, RefusesAChipThatIsNotThereOrIsNone) {
  for (const char* chip : {"/nowhere/chip", "/etc/hostname", "/dev/null"}) {
    EXPECT_THROW((void)request(chip, {{.name = "lid", .offset = 5}}), base::RigFault) << chip;
  }
}

TEST(RequestLines, AskingForNoLineIsOurOwnBug) {
  EXPECT_THROW((void)request("/nowhere/chip", {}), std::logic_error);
}

}  // namespace
}  // namespace plexor::lines
