#include "rig/prepare.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/types.h>

#include <fstream>

#include "base/error.hpp"
#include "lines/lines.hpp"

namespace plexor::rig {
namespace {

using namespace std::chrono_literals;
using ::testing::AllOf;
using ::testing::HasSubstr;

CommandEnd run(std::vector<std::string> command, base::Duration timeout = 20s) {
  return run_command({.command = std::move(command), .timeout = timeout});
}

std::string fault_of(std::vector<std::string> command, base::Duration timeout = 20s) {
  Device device{.name = "panel", .version = "1"};
  device.prepare = PrepareSettings{std::move(command), timeout};
  try {
    (void)prepare(device);
  } catch (const base::RigFault& fault) {
    return fault.what();
  }
  return "no fault";
}

/// Not even as one that nobody has asked for its end.
bool lives(pid_t process) {
  std::string status;
  std::getline(std::ifstream("/proc/" + std::to_string(process) + "/stat"), status);
  return !status.empty() && status.find(") Z") == std::string::npos;
}

TEST(Prepare, KeepsWhatTheCommandSaidOnBothOutputs) {
  const CommandEnd end = run({"sh", "-c", "echo written; echo checked >&2"});
  EXPECT_EQ(end.exit_code, 0);
  EXPECT_EQ(end.output, "written\nchecked\n");
}

TEST(Prepare, GivesArgumentsAsTheyAreWithoutAShell) {
  EXPECT_EQ(run({"printf", "%s|", "a b", "$HOME", "*", ""}).output, "a b|$HOME|*||");
}

TEST(Prepare, TheCommandHasNoInput) { EXPECT_EQ(run({"cat"}).exit_code, 0); }

TEST(Prepare, ACommandThatFailsIsNamedWithItsWords) {
  EXPECT_EQ(fault_of({"true"}), "no fault");
  EXPECT_THAT(fault_of({"sh", "-c", "echo no such board; exit 3"}),
              AllOf(HasSubstr("\"panel\""), HasSubstr("exit code 3"), HasSubstr("no such board")));
  EXPECT_THAT(fault_of({"no-such-flash-tool"}),
              AllOf(HasSubstr("no-such-flash-tool"), HasSubstr("No such file")));
  EXPECT_THAT(fault_of({"sh", "-c", "kill -9 $$"}), HasSubstr("signal"));
}

TEST(Prepare, ACommandThatTakesTooLongIsKilledWithAllItStarted) {
  const lines::KernelInstant begin = lines::kernel_now();
  const CommandEnd end = run({"sh", "-c", "sleep 60 & echo $!; wait"}, 300ms);
  EXPECT_LT(lines::kernel_now() - begin, 10s);
  EXPECT_THAT(end.stopped, HasSubstr("not done after 0.3 s"));
  EXPECT_FALSE(end.exit_code);
  const pid_t started = std::stoi(end.output);
  for (int i = 0; i < 5000 && lives(started); ++i) lines::kernel_nap(1ms);
  EXPECT_FALSE(lives(started));
}

TEST(Prepare, AStopEndsIt) {
  const CommandEnd end =
      run_command({.command = {"sleep", "60"}, .timeout = 60s}, [] { return true; });
  EXPECT_THAT(end.stopped, HasSubstr("stopped"));
}

TEST(Prepare, OfMuchOutputTheEndIsKept) {
  const CommandEnd end = run({"sh", "-c", "yes 2>/dev/null | head -c 3000000; echo done"});
  EXPECT_LE(end.output.size(), CommandEnd::longest_output);
  EXPECT_TRUE(end.output.ends_with("y\ndone\n"));
}

TEST(Prepare, ADeviceWithoutCommandIsReady) {
  EXPECT_EQ(prepare(Device{.name = "panel", .version = "1"}), std::nullopt);
}

}  // namespace
}  // namespace plexor::rig
