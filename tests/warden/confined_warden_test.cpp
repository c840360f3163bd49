#include <fcntl.h>
#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

#include <atomic>
#include <csignal>
#include <cstdlib>
#include <fstream>
#include <string>
#include <vector>

#include "lines/line_bench.hpp"
#include "outside.hpp"
#include "safety/board.hpp"
#include "safety/confinement.hpp"
#include "safety/warden.hpp"

// The warden after its lines are held: it allocates nothing, and can do nothing else.

#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
#define PLEXOR_SANITIZED
#elif defined(__has_feature)
#if __has_feature(address_sanitizer) || __has_feature(thread_sanitizer)
#define PLEXOR_SANITIZED
#endif
#endif

namespace {
std::atomic<bool> counting = false;
std::atomic<std::uint64_t> allocations = 0;
}  // namespace

#ifndef PLEXOR_SANITIZED  // sanitizers have an allocator of their own
// Every allocation of this program passes here, those of libraries too.
extern "C" void* __libc_malloc(std::size_t size);
extern "C" void* malloc(std::size_t size) {
  if (counting) ++allocations;
  return __libc_malloc(size);
}
#endif

namespace plexor::safety {
namespace {

using namespace std::chrono_literals;

WardenSetting setting_on(const lines::VirtualBench& bench, const std::string& board) {
  return {.wiring = wiring_of(bench.chip()),
          .board = board,
          .controller = getpid(),
          .limits = {.heartbeat_age = 50ms, .longest_pulse = 40ms, .longest_tick = 1s}};
}

TEST(ConfinedWarden, AllocatesNothingOnceItServes) {  // [S26]
#ifdef PLEXOR_SANITIZED
  GTEST_SKIP() << "sanitizers have an allocator of their own";
#endif
  lines::VirtualBench bench;
  const std::string file = bench.chip() + "-board";
  Board board = Board::create(file);
  bench.drive(loop, true);
  bench.drive(lid, true);
  board.want_power(true);
  int ticks = 0;
  int powered = 0;
  const auto stop = [&] {
    board.beat(lines::kernel_now());
    if (ticks == 1) counting = true;
    if (ticks == 60) bench.drive(loop, false);  // a trip allocates nothing either
    if (ticks == 90) board.acknowledge(board.warden().trips);
    if (board.warden().powered) ++powered;
    if (++ticks < 150) return false;
    counting = false;
    return true;
  };
  serve_as_warden(setting_on(bench, file), stop);
  EXPECT_EQ(allocations, 0U);
  EXPECT_GT(powered, 40);
  EXPECT_LT(powered, 100);
  counting = true;
  const std::vector<int> grown(static_cast<std::size_t>(ticks));
  counting = false;
  EXPECT_GT(allocations, 0U) << "the counter sees no allocation of " << grown.size();
}

/// How a child ended that was confined and then did this.
int status_after(void (*deed)()) {
  const pid_t child = fork();
  if (child == 0) {
    (void)confine();
    deed();
    _exit(0);
  }
  int status = 0;
  waitpid(child, &status, 0);
  return status;
}

TEST(ConfinedWarden, CanNeitherOpenNorStartNorReachAnything) {  // [S26]
#ifdef PLEXOR_SANITIZED
  GTEST_SKIP() << "sanitizers need system calls of their own";
#endif
  const auto open_a_file = [] { (void)open("/etc/hostname", O_RDONLY); };
  const auto start_a_program = [] { execl("/bin/true", "true", nullptr); };
  const auto kill_somebody = [] { (void)kill(getppid(), 0); };
  for (void (*deed)() : {+open_a_file, +start_a_program, +kill_somebody}) {
    const int status = status_after(deed);
    ASSERT_TRUE(WIFSIGNALED(status));
    EXPECT_EQ(WTERMSIG(status), SIGSYS);
  }
}

/// "65534" for nobody; as the kernel says.
std::string user_of(pid_t process) {
  std::ifstream in("/proc/" + std::to_string(process) + "/status");
  for (std::string word; in >> word;) {
    if (word == "Uid:" && in >> word) return word;
  }
  return "";
}

TEST(ConfinedWarden, IsNobodyAndStillServesToItsOrderlyEnd) {  // [S26]
  lines::VirtualBench bench;
  const std::string file = bench.chip() + "-board";
  Board board = Board::create(file);
  const pid_t child = fork();
  if (child == 0) {
    int ticks = 0;
    auto setting = setting_on(bench, file);
    setting.controller = getppid();
    serve_as_warden(
        setting, [&ticks] { return ++ticks == 200; }, [] { (void)confine(); });
    _exit(0);
  }
  while (board.warden().ticks < 5 && waitpid(child, nullptr, WNOHANG) == 0) lines::kernel_nap(1ms);
  const std::string user = user_of(child);
  int status = 0;
  waitpid(child, &status, 0);
  ASSERT_TRUE(WIFEXITED(status));
  EXPECT_EQ(WEXITSTATUS(status), 0);
  EXPECT_EQ(board.warden().ticks, 200U);
  EXPECT_NE(user, "0") << "root is left behind";
}

}  // namespace
}  // namespace plexor::safety
