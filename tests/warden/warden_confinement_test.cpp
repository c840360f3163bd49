#include <fcntl.h>
#include <gtest/gtest.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#include <csignal>
#include <cstdlib>
#include <fstream>
#include <functional>
#include <memory>

#include "allocations.hpp"
#include "lines/line_bench.hpp"
#include "safety/board.hpp"
#include "safety/confinement.hpp"
#include "safety/warden.hpp"

// A warden that serves asks for nothing any more: no memory, no file, no right.

namespace plexor::safety {
namespace {

using namespace std::chrono_literals;

/// A virtual chip with a board, closed loop and lid, and a controller: this process.
class Bench {
 public:
  Bench() : board_(Board::create(board_file())) {
    lines_.drive(setting().wiring.stop_loop.offset, true);
    lines_.drive(setting().wiring.lid.offset, true);
    board_.want_power(true);
  }
  [[nodiscard]] WardenSetting setting() {
    return {.wiring = {.chip = lines_.chip(),
                       .gate = {5},
                       .contact = {},
                       .stop_loop = {0},
                       .lid = {1},
                       .coil_sense = {2},
                       .enable = {3},
                       .watchdog = {4}},
            .board = board_file(),
            .controller = getpid(),
            .limits = {.heartbeat_age = 1s, .longest_pulse = 40ms, .longest_tick = 1s}};
  }
  [[nodiscard]] Board& board() { return board_; }
  [[nodiscard]] lines::VirtualBench& lines() { return lines_; }
  [[nodiscard]] bool is_enabled() { return lines_.is_high(3); }

 private:
  [[nodiscard]] std::string board_file() { return lines_.chip() + "-board"; }
  lines::VirtualBench lines_;
  Board board_;
};

/// Serves for so many ticks; `between` is called at each. Returns what was asked of the heap from
/// the first tick to the last.
std::uint64_t allocations_while_serving(Bench& bench, int ticks,
                                        const std::function<void(int)>& between) {
  int tick = 0;
  std::uint64_t first = 0;
  std::uint64_t last = 0;
  const std::function<bool()> stop = [&] {
    if (tick == 0) first = allocations();
    last = allocations();
    bench.board().beat(lines::kernel_now());
    between(tick);
    return ++tick == ticks;
  };
  WardenSetting setting = bench.setting();
  setting.tick = 500us;
  serve_as_warden(setting, stop);
  return last - first;
}

TEST(WardenConfinement, TheCounterCounts) {
  if (!allocations_are_counted()) GTEST_SKIP() << "the sanitizer has an allocator of its own";
  const std::uint64_t before = allocations();
  const auto one = std::make_unique<int>(1);
  const std::unique_ptr<void, void (*)(void*)> two(std::malloc(2), std::free);
  EXPECT_EQ(*one, 1);
  EXPECT_NE(two, nullptr);
  EXPECT_EQ(allocations(), before + 2);
}

TEST(WardenConfinement, AllocatesNothingOnceItServes) {  // [S26]
  if (!allocations_are_counted()) GTEST_SKIP() << "the sanitizer has an allocator of its own";
  Bench bench;
  bool was_enabled = false;
  const auto asked = allocations_while_serving(
      bench, 500, [&](int) { was_enabled = was_enabled || bench.is_enabled(); });
  EXPECT_EQ(asked, 0U);
  EXPECT_TRUE(was_enabled) << "a warden that never gave power has not done all it does";
}

TEST(WardenConfinement, AllocatesNothingWhileItTripsAndGivesPowerAgain) {  // [S26]
  if (!allocations_are_counted()) GTEST_SKIP() << "the sanitizer has an allocator of its own";
  Bench bench;
  const auto disturb = [&](int tick) {
    bench.lines().drive(0, tick % 40 != 10);
    bench.lines().drive(1, tick % 40 != 20);
    bench.lines().drive(2, tick % 200 > 100);
    bench.board().acknowledge(bench.board().warden().trips);
  };
  EXPECT_EQ(allocations_while_serving(bench, 600, disturb), 0U);
  EXPECT_GT(bench.board().warden().trips, 10U);
}

TEST(WardenConfinement, ItsLinesAllocateNothingWhileTheyFail) {  // [S26]
  if (!allocations_are_counted()) GTEST_SKIP() << "the sanitizer has an allocator of its own";
  lines::VirtualBench bench;
  const auto held = lines::request(
      bench.chip(), {{.name = "lid", .offset = 1},
                     {.name = "enable", .offset = 3, .direction = lines::Direction::output}});
  held->release();  // from here on each call fails
  const std::uint64_t before = allocations();
  for (int i = 0; i < 1000; ++i) {
    EXPECT_FALSE(held->try_get(0).has_value());
    EXPECT_FALSE(held->try_set(1, lines::Level::active));
  }
  EXPECT_EQ(allocations(), before);
}

TEST(WardenConfinement, ItsEndLeavesTheEnableLineInactive) {  // [S20]
  Bench bench;
  bool was_enabled = false;
  (void)allocations_while_serving(bench, 100,
                                  [&](int) { was_enabled = was_enabled || bench.is_enabled(); });
  EXPECT_TRUE(was_enabled);
  EXPECT_FALSE(bench.is_enabled());
}

/// How a child process ended that did this.
int end_of(const std::function<void()>& life) {
  const pid_t child = fork();
  if (child == 0) {
    life();
    _exit(0);
  }
  int status = 0;
  waitpid(child, &status, 0);
  return status;
}

bool system_calls_are_cut_down() {
#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
  return false;
#elif defined(__has_feature)
#if __has_feature(address_sanitizer) || __has_feature(thread_sanitizer) || \
    __has_feature(undefined_behavior_sanitizer)
  return false;
#endif
#endif
  return true;
}

struct Deed {
  const char* name;
  std::function<void()> commit;
};

const std::vector<Deed>& forbidden_deeds() {
  static const std::vector<Deed> all{{"open", [] { (void)open("/dev/null", O_RDONLY); }},
                                     {"grow", [] { (void)sbrk(1 << 20); }},
                                     {"fork", [] { (void)fork(); }},
                                     {"connect", [] { (void)socket(AF_INET, SOCK_STREAM, 0); }},
                                     {"kill", [] { (void)kill(getppid(), 0); }},
                                     {"execute", [] { (void)execl("/bin/true", "true", nullptr); }},
                                     {"become root", [] { (void)setuid(0); }}};
  return all;
}

TEST(WardenConfinement, ACallThatItsLoopDoesNotNeedEndsIt) {  // [S26]
  if (!system_calls_are_cut_down()) GTEST_SKIP() << "the sanitizer needs more system calls";
  for (const Deed& deed : forbidden_deeds()) {
    const int status = end_of([&] {
      (void)confine();
      deed.commit();
    });
    EXPECT_TRUE(WIFSIGNALED(status)) << deed.name;
    EXPECT_EQ(WTERMSIG(status), SIGSYS) << deed.name;
  }
}

/// Whether each of a process's four user ids is nobody's.
bool is_nobody(pid_t process) {
  std::ifstream in("/proc/" + std::to_string(process) + "/status");
  for (std::string word; in >> word;) {
    if (word != "Uid:") continue;
    bool all = true;
    for (int i = 0; i < 4; ++i) all = (in >> word) && word == "65534" && all;
    return all;
  }
  return false;
}

TEST(WardenConfinement, IsNobodyWhereItWasRoot) {  // [S26]
  if (geteuid() != 0) GTEST_SKIP() << "not root, so there is nothing to leave";
  int confined[2];
  int looked[2];
  ASSERT_EQ(pipe(confined), 0);
  ASSERT_EQ(pipe(looked), 0);
  const pid_t child = fork();
  if (child == 0) {
    close(looked[1]);
    (void)confine();
    char byte = 'c';
    (void)!write(confined[1], &byte, 1);
    (void)!read(looked[0], &byte, 1);
    _exit(0);
  }
  char byte = 0;
  EXPECT_EQ(read(confined[0], &byte, 1), 1);
  EXPECT_TRUE(is_nobody(child));
  close(looked[1]);
  int status = 0;
  waitpid(child, &status, 0);
  EXPECT_TRUE(WIFEXITED(status));
  for (const int end : {confined[0], confined[1], looked[0]}) close(end);
}

TEST(WardenConfinement, AConfinedWardenServesOnAndEndsInOrder) {  // [S26]
  Bench bench;
  int ticks = 0;
  const WardenSetting setting = bench.setting();
  bench.board().beat(lines::kernel_now());
  const int status = end_of([&] {
    serve_as_warden(
        setting, [&ticks] { return ++ticks == 200; }, [] { (void)confine(); });
  });
  ASSERT_TRUE(WIFEXITED(status)) << "signal " << WTERMSIG(status);
  EXPECT_EQ(WEXITSTATUS(status), 0);
  EXPECT_EQ(bench.board().warden().ticks, 200U);
  EXPECT_FALSE(bench.is_enabled());
}

}  // namespace
}  // namespace plexor::safety
