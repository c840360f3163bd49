#pragma once

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cerrno>
#include <csignal>
#include <stdexcept>
#include <thread>

#include "base/error.hpp"
#include "lines/faulty_lines.hpp"
#include "lines/line_bench.hpp"

// What every adapter of lines must do, whatever the lines are made of. A test program runs it over
// its own bench:
//   INSTANTIATE_TYPED_TEST_SUITE_P(VirtualLines, LinesContract, testing::Types<VirtualBench>);

namespace plexor::lines {

using namespace std::chrono_literals;

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
  /// Leaves a trace wherever it was driven at all.
  static LineSetting always_active(std::uint32_t offset) {
    LineSetting setting = output(offset);
    setting.at_start = setting.at_release = Level::active;
    return setting;
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

TYPED_TEST_SUITE_P(LinesContract);

TYPED_TEST_P(LinesContract, AnOutputBeginsAsItsSettingSaysAndFollowsSet) {
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

TYPED_TEST_P(LinesContract, ReleaseDrivesTheStatedLevelAndIsFinal) {
  for (const Level level : {Level::inactive, Level::active}) {
    LineSetting setting = this->output(3);
    setting.at_release = level;
    const auto lines = this->ask({setting});
    lines->set(0, level == Level::active ? Level::inactive : Level::active);
    lines->release();
    lines->release();
    EXPECT_EQ(this->bench.last_driven_high(3), level == Level::active);
    EXPECT_THROW(lines->set(0, Level::active), base::RigFault);
    EXPECT_THROW((void)lines->get(0), base::RigFault);
    EXPECT_THROW((void)lines->wait_edge(1ms), base::RigFault);
    EXPECT_EQ(this->refusal({setting}), "taken");
  }
}

TYPED_TEST_P(LinesContract, GoingOutOfScopeReleasesAlsoByAnException) {
  try {
    const auto lines = this->ask({this->output(3)});
    lines->set(0, Level::active);
    throw std::runtime_error("something else went wrong");
  } catch (const std::runtime_error&) {
    EXPECT_FALSE(this->bench.last_driven_high(3));
  }
}

TYPED_TEST_P(LinesContract, AnInputReadsTheOutsideInLogicalLevels) {
  const auto lines = this->ask({this->input(5), this->input(6, true)});
  for (const bool high : {true, false, true}) {
    this->bench.drive(5, high);
    this->bench.drive(6, high);
    EXPECT_EQ(lines->get(0), high ? Level::active : Level::inactive);
    EXPECT_EQ(lines->get(1), high ? Level::inactive : Level::active);
  }
}

TYPED_TEST_P(LinesContract, EdgesComeInOrderWithStampAndSequence) {
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

TYPED_TEST_P(LinesContract, OnlyLinesThatAskForEdgesReportThemAndOnlyFromNowOn) {
  this->bench.drive(5, true);
  LineSetting silent = this->input(6);
  silent.edges = false;
  const auto lines = this->ask({this->input(5), silent, this->output(7)});
  this->bench.drive(6, true);
  lines->set(2, Level::active);
  EXPECT_FALSE(lines->wait_edge(20ms));
}

TYPED_TEST_P(LinesContract, WaitingEndsWithTheEdgeOrTheTimeout) {
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

TYPED_TEST_P(LinesContract, ALineHasOneOwnerAndARefusedRequestTakesNone) {
  const auto lines = this->ask({this->output(3)});
  EXPECT_THAT(
      this->refusal({this->input(8), this->output(3)}),
      testing::AllOf(testing::HasSubstr("line 3 (enable)"), testing::HasSubstr(this->bench.chip()),
                     testing::HasSubstr("held by")));
  EXPECT_EQ(this->refusal({this->always_active(4), this->output(3)}).find("taken"),
            std::string::npos);
  EXPECT_FALSE(this->bench.last_driven_high(4)) << "nothing of a refused request is driven";
  EXPECT_EQ(this->refusal({this->input(8), this->output(4)}), "taken");
  lines->release();
  EXPECT_EQ(this->refusal({this->output(3)}), "taken");
}

TYPED_TEST_P(LinesContract, WhatADeadOwnerHeldMayBeTaken) {
  const pid_t child = fork();
  if (child == 0) {
    const auto lines = this->ask({this->output(3)});
    lines->set(0, Level::active);
    raise(SIGKILL);
  }
  int status = 0;
  ASSERT_EQ(waitpid(child, &status, 0), child);
  ASSERT_TRUE(WIFSIGNALED(status));
  // Whether the level is still there is undefined: nobody may rely on either. That he did not
  // put it back is known.
  EXPECT_TRUE(this->bench.last_driven_high(3));
  const auto lines = this->ask({this->output(3)});
  EXPECT_FALSE(this->bench.is_high(3));
}

TYPED_TEST_P(LinesContract, DrivingAnInputIsOurOwnBug) {
  const auto lines = this->ask({this->input(5)});
  EXPECT_THROW(lines->set(0, Level::active), std::logic_error);
}

TYPED_TEST_P(LinesContract, RefusesALineThatTheChipDoesNotHave) {
  EXPECT_THAT(this->refusal({this->always_active(3), this->input(4000)}),
              testing::HasSubstr("4000"));
  EXPECT_FALSE(this->bench.last_driven_high(3)) << "nothing of a refused request is driven";
  EXPECT_EQ(this->refusal({this->output(3)}), "taken") << "and nothing of it is held";
}

TYPED_TEST_P(LinesContract, RefusesALineThatIsAskedForTwice) {
  EXPECT_THAT(this->refusal({this->always_active(3), this->input(3)}),
              testing::HasSubstr("line 3 (lid)"));
  EXPECT_FALSE(this->bench.last_driven_high(3));
}

TYPED_TEST_P(LinesContract, TryingTellsByErrnoWhyItFailed) {
  const auto lines = this->ask({this->output(3), this->input(5)});
  EXPECT_FALSE(lines->try_set(1, Level::active));
  EXPECT_EQ(errno, EPERM);
  EXPECT_FALSE(lines->try_set(2, Level::active));
  EXPECT_EQ(errno, EINVAL);
  EXPECT_FALSE(lines->try_get(2));
  EXPECT_EQ(errno, EINVAL);
  lines->release();
  EXPECT_FALSE(lines->try_set(0, Level::active));
  EXPECT_EQ(errno, EBADF);
  EXPECT_FALSE(lines->try_get(1));
  EXPECT_EQ(errno, EBADF);
}

TYPED_TEST_P(LinesContract, EdgesOfALineAlternateAndCarryWhatTheLineIs) {
  const auto lines = this->ask({this->input(5), this->input(6)});
  Level expected = Level::inactive;
  for (int i = 0; i < 20; ++i) {
    expected = expected == Level::active ? Level::inactive : Level::active;
    this->bench.drive(i % 4 < 2 ? 5U : 6U, expected == Level::active);
    const auto edge = lines->wait_edge(10s);
    ASSERT_TRUE(edge) << i;
    EXPECT_EQ(edge->level, expected);
    EXPECT_EQ(lines->get(edge->line), expected);
    EXPECT_EQ(edge->sequence, static_cast<std::uint64_t>(i + 1));
  }
}

TYPED_TEST_P(LinesContract, AFaultOfSetAppearsWhereWhenAndAsOftenAsTold) {
  const auto lines =
      request_faulty(this->bench.chip(), {this->output(3), this->output(4)},
                     {{.line = 1, .operation = Operation::set, .after = 2, .times = 3}});
  bool high = false;
  for (int call = 0; call < 8; ++call) {
    const bool fails = call >= 2 && call < 5;
    const Level level = call % 2 == 0 ? Level::active : Level::inactive;
    EXPECT_TRUE(lines->try_set(0, level)) << "not on this line";
    EXPECT_EQ(lines->try_set(1, level), !fails) << call;
    if (!fails) high = level == Level::active;
    EXPECT_EQ(this->bench.is_high(4), high) << "what failed was not done";
  }
}

TYPED_TEST_P(LinesContract, AFaultOfGetNamesItsReason) {
  const auto lines = request_faulty(
      this->bench.chip(), {this->output(3), this->input(5)},
      {{.line = 1, .operation = Operation::get, .after = 1, .times = 1, .reason = ENODEV}});
  EXPECT_TRUE(lines->try_get(1));
  EXPECT_FALSE(lines->try_get(1));
  EXPECT_EQ(errno, ENODEV);
  EXPECT_TRUE(lines->try_get(1));
  EXPECT_TRUE(lines->try_get(0));
}

TYPED_TEST_P(LinesContract, AFaultOfWaitingLeavesTheEdgeForTheNextCall) {
  const auto lines = request_faulty(this->bench.chip(), {this->input(5)},
                                    {{.operation = Operation::wait_edge, .times = 2}});
  this->bench.drive(5, true);
  EXPECT_THROW((void)lines->wait_edge(1ms), base::RigFault);
  EXPECT_THROW((void)lines->wait_edge(1ms), base::RigFault);
  EXPECT_TRUE(lines->wait_edge(10s));
}

REGISTER_TYPED_TEST_SUITE_P(
    LinesContract, AnOutputBeginsAsItsSettingSaysAndFollowsSet,
    ReleaseDrivesTheStatedLevelAndIsFinal, GoingOutOfScopeReleasesAlsoByAnException,
    AnInputReadsTheOutsideInLogicalLevels, EdgesComeInOrderWithStampAndSequence,
    OnlyLinesThatAskForEdgesReportThemAndOnlyFromNowOn, WaitingEndsWithTheEdgeOrTheTimeout,
    ALineHasOneOwnerAndARefusedRequestTakesNone, WhatADeadOwnerHeldMayBeTaken,
    DrivingAnInputIsOurOwnBug, RefusesALineThatTheChipDoesNotHave, RefusesALineThatIsAskedForTwice,
    TryingTellsByErrnoWhyItFailed, EdgesOfALineAlternateAndCarryWhatTheLineIs,
    AFaultOfSetAppearsWhereWhenAndAsOftenAsTold, AFaultOfGetNamesItsReason,
    AFaultOfWaitingLeavesTheEdgeForTheNextCall);

}  // namespace plexor::lines
