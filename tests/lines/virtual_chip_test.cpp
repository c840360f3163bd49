#include "lines/virtual_chip.hpp"

#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

#include <thread>
#include <vector>

#include "base/error.hpp"
#include "line_bench.hpp"

namespace plexor::lines {
namespace {

using namespace std::chrono_literals;

TEST(VirtualChip, KeepsAnOutputsLevelWhenItsOwnerDies) {
  VirtualBench bench;
  const pid_t child = fork();
  if (child == 0) {
    const auto lines =
        request(bench.chip(), {{.name = "coil", .offset = 2, .direction = Direction::output}});
    lines->set(0, Level::active);
    _exit(0);  // no destructor runs
  }
  ASSERT_EQ(waitpid(child, nullptr, 0), child);
  EXPECT_TRUE(bench.is_high(2));  // the worst that a real line may do
  EXPECT_TRUE(bench.outside().is_driven_by_owner(2));
}

TEST(VirtualChip, TheOutsideCannotDriveAgainstAnOutput) {
  VirtualBench bench;
  const auto lines =
      request(bench.chip(), {{.name = "coil", .offset = 2, .direction = Direction::output}});
  EXPECT_THROW(bench.drive(2, true), base::RigFault);
  lines->release();
  EXPECT_NO_THROW(bench.drive(2, true));
}

TEST(VirtualChip, TellsBothSidesOfEveryChange) {
  VirtualBench bench;
  const VirtualChip other = VirtualChip::open(bench.chip());
  bench.drive(4, true);
  bench.drive(4, true);  // no change
  bench.drive(4, false);
  const auto first = other.next_change(0, kernel_now() + 1s);
  ASSERT_TRUE(first);
  EXPECT_EQ(first->offset, 4U);
  EXPECT_TRUE(first->high);
  const auto second = other.next_change(first->number, kernel_now() + 1s);
  ASSERT_TRUE(second);
  EXPECT_FALSE(second->high);
  EXPECT_FALSE(other.next_change(second->number, kernel_now()));
}

TEST(VirtualChip, AJumpInTheSequenceTellsOfLostEdges) {
  VirtualBench bench;
  const auto lines = request(bench.chip(), {{.name = "lid", .offset = 5, .edges = true}});
  for (int i = 0; i < 10'000; ++i) bench.drive(5, i % 2 == 0);
  std::vector<Edge> edges;
  while (const auto edge = lines->wait_edge(20ms)) edges.push_back(*edge);
  ASSERT_FALSE(edges.empty());
  EXPECT_GT(edges.front().sequence, 1U);
  EXPECT_EQ(edges.back().sequence, 10'000U);
  EXPECT_LT(edges.size(), 10'000U);
}

TEST(VirtualChip, NeitherLosesNorInventsChangesAmongSeveralWriters) {
  VirtualBench bench;
  const auto lines = request(bench.chip(), {{.name = "a", .offset = 0, .edges = true},
                                            {.name = "b", .offset = 1, .edges = true}});
  constexpr int each = 1500;
  const auto toggle = [&bench](std::uint32_t offset) {
    for (int i = 0; i < each; ++i) bench.drive(offset, i % 2 == 0);
  };
  std::jthread one(toggle, 0U);
  std::jthread two(toggle, 1U);
  std::array<int, 2> seen{};
  std::array<Level, 2> levels{};
  for (int i = 0; i < 2 * each; ++i) {
    const auto edge = lines->wait_edge(5s);
    ASSERT_TRUE(edge) << i;
    ++seen[edge->line];
    EXPECT_NE(edge->level, levels[edge->line]);  // each change changes something
    levels[edge->line] = edge->level;
    EXPECT_EQ(edge->sequence, static_cast<std::uint64_t>(i + 1));
  }
  EXPECT_EQ(seen[0], each);
  EXPECT_EQ(seen[1], each);
}

TEST(VirtualChip, IsNotMadeTwice) {
  VirtualBench bench;
  EXPECT_THROW((void)VirtualChip::create(bench.chip()), base::RigFault);
}

}  // namespace
}  // namespace plexor::lines
