#include "lines/contract.hpp"

namespace plexor::lines {
namespace {

INSTANTIATE_TYPED_TEST_SUITE_P(Virtual, LinesContract, testing::Types<VirtualBench>);

TEST(RequestLines, RefusesAChipThatIsNotThereOrIsNone) {
  EXPECT_THROW((void)request("/nowhere/chip", {}), base::RigFault);
  EXPECT_THROW((void)request("/etc/hostname", {}), base::RigFault);
  EXPECT_THROW((void)request("/dev/null", {}), base::RigFault);
}

}  // namespace
}  // namespace plexor::lines
