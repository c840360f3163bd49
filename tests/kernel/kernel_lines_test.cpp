#include <fmt/format.h>

#include "kernel/kernel_bench.hpp"
#include "lines/contract.hpp"

// The contract of lines on chips of the kernel, and what only the kernel does. In the guest.

namespace plexor::lines {
namespace {

INSTANTIATE_TYPED_TEST_SUITE_P(Kernel, LinesContract, testing::Types<KernelBench>);

std::string refusal(const std::string& chip, const std::vector<LineSetting>& settings) {
  try {
    (void)request(chip, settings);
  } catch (const base::RigFault& fault) {
    return fault.what();
  }
  return "taken";
}

TEST(KernelLines, TheFaultNamesWhoHoldsTheLine) {
  KernelBench bench;
  const std::vector<LineSetting> settings{
      {.name = "enable", .offset = 3, .direction = Direction::output}};
  const auto lines = request(bench.chip(), settings);
  EXPECT_EQ(refusal(bench.chip(), settings),
            fmt::format("line 3 (enable) of {}: held by \"plexor {}\"", bench.chip(), getpid()));
}

TEST(KernelLines, MoreEdgesThanTheKernelKeepsAreMissedInTheSequence) {
  KernelBench bench;
  const auto lines = request(bench.chip(), {{.name = "lid", .offset = 5, .edges = true}});
  for (int i = 0; i < 41; ++i) bench.drive(5, i % 2 == 0);
  std::vector<Edge> edges;
  while (const auto edge = lines->wait_edge(100ms)) edges.push_back(*edge);
  ASSERT_LT(edges.size(), 41U);
  bench.drive(5, false);
  const auto last = lines->wait_edge(10s);
  ASSERT_TRUE(last);
  EXPECT_GT(last->sequence, edges.size() + 1);
}

TEST(KernelLines, EdgesOfManyLinesComeInTheOrderOfTheirStamps) {
  KernelBench bench;
  std::vector<LineSetting> settings;
  for (std::uint32_t offset = 0; offset < 6; ++offset) {
    settings.push_back({.name = "sense", .offset = offset, .edges = true});
  }
  const auto lines = request(bench.chip(), settings);
  for (std::uint32_t i = 0; i < 48; ++i) bench.drive(i * 5 % 6, i / 6 % 2 == 0);
  std::vector<Edge> edges;
  while (const auto edge = lines->wait_edge(100ms)) edges.push_back(*edge);
  EXPECT_EQ(edges.size(), 48U);
  EXPECT_TRUE(std::ranges::is_sorted(edges, {}, &Edge::at));
  for (std::size_t i = 0; i < edges.size(); ++i) EXPECT_EQ(edges[i].line, i * 5 % 6) << i;
}

TEST(LineTrace, ReadsWhoDroveWhatAndLeavesTheRestOut) {
  const auto all = driven_in(
      "# tracer: nop\n"
      "  my [odd] pro-gram-77      [000] .....    12.000345: gpio_value: 1003 set 1\n"
      "            warden-78      [001] .....    12.001000: gpio_value: 1001 get 1\n"
      "            warden-78      [001] .....    12.001002: gpio_direction: 1001 out (0)\n"
      "            warden-78      [001] d..1.    13.500000: gpio_value: 1004 set 0\n");
  ASSERT_EQ(all.size(), 2U);
  EXPECT_EQ(all[0].process, 77);
  EXPECT_EQ(all[0].number, 1003U);
  EXPECT_TRUE(all[0].high);
  EXPECT_EQ(all[0].at.time_since_epoch(), 12s + 345us);
  EXPECT_EQ(all[1].process, 78);
  EXPECT_FALSE(all[1].high);
  EXPECT_EQ(all[1].at.time_since_epoch(), 13s + 500ms);
}

}  // namespace
}  // namespace plexor::lines
