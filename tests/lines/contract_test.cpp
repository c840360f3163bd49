#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

#include <csignal>
#include <stdexcept>
#include <thread>

#include "base/error.hpp"
#include "line_bench.hpp"

// What every adapter of lines must do, whatever the lines are made of.

namespace plexor::lines {
namespace {

using namespace std::chrono_literals;
using ::testing::AllOf;
using ::testing::HasSubstr;

template <typename Bench>
class LinesContract : public testing::Test {
 protected:
  Bench bench;

  static LineSetting output(std::uint32_t offset, bool active_low = false) {
    return {.name = "enable",
            .offset = offset,
            .direction = Direction::output,
            .active_low = active_low};
  }
  static LineSetting input(std::uint32_t offset, bool active_low = false) {
    return {.name = "lid", .offset = offset, .active_low = active_low, .edges = true};
  }
  std::unique_ptr<Lines> ask(const std::vector<LineSetting>& settings) {
    return request(bench.chip(), settings);
  }
  std::string refusal(const std::vector<LineSetting>& settings) {
    try {
      (void)ask(settings);
    } catch (const base::RigFault& fault) {
      return fault.what();
    }
    return "taken";
  }
};

using Benches = testing::Types<VirtualBench>;
TYPED_TEST_SUITE(LinesContract, Benches);

TYPED_TEST(LinesContract, AnOutputBeginsAsItsSettingSaysAndFollowsSet) {
  for (const bool active_low : {false, true}) {
    LineSetting setting = this->output(3, active_low);
    setting.at_start = Level::active;
    const auto lines = this->ask({setting});
    EXPECT_EQ(this->bench.is_high(3), !active_low);
    EXPECT_EQ(lines->get(0), Level::active);
    lines->set(0, Level::inactive);
    EXPECT_EQ(this->bench.is_high(3), active_low);
    EXPECT_EQ(lines->get(0), Level::inactive);
  }
}

TYPED_TEST(LinesContract, ReleaseDrivesTheStatedLevelAndIsFinal) {
  for (const Level level : {Level::inactive, Level::active}) {
    LineSetting setting = this->output(3);
    setting.at_release = level;
    const auto lines = this->ask({setting});
    lines->set(0, level == Level::active ? Level::inactive : Level::active);
    lines->release();
    lines->release();
    EXPECT_EQ(this->bench.is_high(3), level == Level::active);
    EXPECT_THROW(lines->set(0, Level::active), base::RigFault);
    EXPECT_THROW((void)lines->get(0), base::RigFault);
    EXPECT_THROW((void)lines->wait_edge(1ms), base::RigFault);
    EXPECT_EQ(this->refusal({setting}), "taken");
  }
}

TYPED_TEST(LinesContract, GoingOutOfScopeReleasesAlsoByAnException) {
  try {
    const auto lines = this->ask({this->output(3)});
    lines->set(0, Level::active);
    throw std::runtime_error("something else went wrong");
  } catch (const std::runtime_error&) {
    EXPECT_FALSE(this->bench.is_high(3));
  }
}

TYPED_TEST(LinesContract, AnInputReadsTheOutsideInLogicalLevels) {
  const auto lines = this->ask({this->input(5), this->input(6, true)});
  for (const bool high : {true, false, true}) {
    this->bench.drive(5, high);
    this->bench.drive(6, high);
    EXPECT_EQ(lines->get(0), high ? Level::active : Level::inactive);
    EXPECT_EQ(lines->get(1), high ? Level::inactive : Level::active);
  }
}

TYPED_TEST(LinesContract, EdgesComeInOrderWithStampAndSequence) {
  const auto lines = this->ask({this->input(5), this->input(6, true)});
  const KernelInstant before = kernel_now();
  this->bench.drive(5, true);
  this->bench.drive(6, true);
  this->bench.drive(5, false);
  std::vector<Edge> edges;
  while (const auto edge = lines->wait_edge(20ms)) edges.push_back(*edge);
  const KernelInstant after = kernel_now();
  ASSERT_EQ(edges.size(), 3U);
  EXPECT_EQ(edges[0].line, 0U);
  EXPECT_EQ(edges[0].level, Level::active);
  EXPECT_EQ(edges[1].line, 1U);
  EXPECT_EQ(edges[1].level, Level::inactive);
  EXPECT_EQ(edges[2].level, Level::inactive);
  KernelInstant last = before;
  for (std::size_t i = 0; i < edges.size(); ++i) {
    EXPECT_EQ(edges[i].sequence, i + 1);
    EXPECT_GE(edges[i].at, last);
    last = edges[i].at;
  }
  EXPECT_LE(last, after);
}

TYPED_TEST(LinesContract, OnlyLinesThatAskForEdgesReportThemAndOnlyFromNowOn) {
  this->bench.drive(5, true);
  LineSetting silent = this->input(6);
  silent.edges = false;
  const auto lines = this->ask({this->input(5), silent, this->output(7)});
  this->bench.drive(6, true);
  lines->set(2, Level::active);
  EXPECT_FALSE(lines->wait_edge(20ms));
}

TYPED_TEST(LinesContract, WaitingEndsWithTheEdgeOrTheTimeout) {
  const auto lines = this->ask({this->input(5)});
  const KernelInstant begin = kernel_now();
  EXPECT_FALSE(lines->wait_edge(30ms));
  EXPECT_GE(kernel_now() - begin, 30ms);
  std::jthread outside([this] {
    std::this_thread::sleep_for(20ms);
    this->bench.drive(5, true);
  });
  EXPECT_TRUE(lines->wait_edge(10s));
}

TYPED_TEST(LinesContract, ALineHasOneOwnerAndARefusedRequestTakesNone) {
  const auto lines = this->ask({this->output(3)});
  EXPECT_THAT(
      this->refusal({this->input(8), this->output(3)}),
      AllOf(HasSubstr("line 3 (enable)"), HasSubstr(this->bench.chip()), HasSubstr("held")));
  EXPECT_EQ(this->refusal({this->input(8)}), "taken");
  lines->release();
  EXPECT_EQ(this->refusal({this->output(3)}), "taken");
}

TYPED_TEST(LinesContract, WhatADeadOwnerHeldMayBeTaken) {
  const pid_t child = fork();
  if (child == 0) {
    const auto lines = this->ask({this->output(3)});
    lines->set(0, Level::active);
    raise(SIGKILL);
  }
  int status = 0;
  ASSERT_EQ(waitpid(child, &status, 0), child);
  ASSERT_TRUE(WIFSIGNALED(status));
  // Whether the level is still there is undefined: nobody may rely on either.
  const auto lines = this->ask({this->output(3)});
  EXPECT_FALSE(this->bench.is_high(3));
}

TYPED_TEST(LinesContract, DrivingAnInputIsOurOwnBug) {
  const auto lines = this->ask({this->input(5)});
  EXPECT_THROW(lines->set(0, Level::active), std::logic_error);
}

TYPED_TEST(LinesContract, RefusesALineThatTheChipDoesNotHave) {
  LineSetting driven = this->output(3);
  driven.at_start = Level::active;
  EXPECT_THAT(this->refusal({driven, this->input(4000)}), HasSubstr("4000"));
  EXPECT_FALSE(this->bench.is_high(3)) << "nothing of a refused request is driven";
  EXPECT_EQ(this->refusal({this->output(3)}), "taken") << "and nothing of it is held";
}

TEST(RequestLines, RefusesAChipThatIsNotThereOrIsNone) {
  EXPECT_THROW((void)request("/nowhere/chip", {}), base::RigFault);
  EXPECT_THROW((void)request("/etc/hostname", {}), base::RigFault);
}

}  // namespace
}  // namespace plexor::lines
