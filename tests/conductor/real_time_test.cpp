#include "run/real_time.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sched.h>
#include <sys/syscall.h>
#include <unistd.h>

#include <atomic>
#include <filesystem>
#include <fstream>
#include <functional>
#include <thread>

#include "base/sanitized.hpp"
#include "conductor/without_rights.hpp"
#include "lines/line_bench.hpp"
#include "run/inheriting_mutex.hpp"
#include "safety/board.hpp"
#include "safety/confinement.hpp"
#include "safety/warden.hpp"
#include "warden/bench_lines.hpp"
#include "warden/child.hpp"

namespace plexor::run {
namespace {

using rig::Finding;
using State = Finding::State;
using ::testing::AllOf;
using ::testing::Each;
using ::testing::ElementsAre;
using ::testing::Field;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::Not;

void on_a_thread(const std::function<void()>& deed) { std::thread(deed).join(); }

const Finding& about(const std::string& subject, const std::vector<Finding>& all) {
  for (const Finding& finding : all) {
    if (finding.subject == subject) return finding;
  }
  throw std::out_of_range("nothing found about " + subject);
}

bool has_real_time(const RealTime& here) {
  return about("real-time scheduling", here.findings()).state == State::good;
}

TEST(RealTime, GivesWhatItSaysItGives) {
  on_a_thread([] {
    const RealTime here;
    sched_param parameters{};
    sched_getparam(0, &parameters);
    const bool is_fifo = (sched_getscheduler(0) & ~SCHED_RESET_ON_FORK) == SCHED_FIFO;
    EXPECT_EQ(has_real_time(here), is_fifo);
    EXPECT_EQ(parameters.sched_priority, is_fifo ? RealTime::priority : 0);
    rlimit burst{};
    getrlimit(RLIMIT_RTTIME, &burst);
    EXPECT_EQ(is_fifo, burst.rlim_cur <= 200'000) << "never one without the other";
  });
}

TEST(RealTime, StaysOnOneCoreWhereThereAreSeveral) {
  on_a_thread([] {
    cpu_set_t before;
    sched_getaffinity(0, sizeof before, &before);
    if (CPU_COUNT(&before) < 2) GTEST_SKIP() << "one core";
    const RealTime here;
    cpu_set_t after;
    sched_getaffinity(0, sizeof after, &after);
    EXPECT_EQ(CPU_COUNT(&after), 1);
    EXPECT_THAT(about("core of the pulses", here.findings()).found, HasSubstr("core "));
  });
}

TEST(RealTime, IsOverWithIt) {
  on_a_thread([] {
    rlimit before{};
    getrlimit(RLIMIT_RTTIME, &before);
    { const RealTime here; }
    rlimit after{};
    getrlimit(RLIMIT_RTTIME, &after);
    EXPECT_EQ(sched_getscheduler(0), SCHED_OTHER);
    EXPECT_EQ(after.rlim_cur, before.rlim_cur);
  });
}

TEST(RealTime, WhatIsRefusedIsAWarningThatNamesTheRemedy) {
  const WithoutRights limits;
  on_a_thread([] {
    WithoutRights::become_nobody();
    RealTime here;
    for (const auto* subject : {"real-time scheduling", "memory lock"}) {
      const Finding& finding = about(subject, here.findings());
      EXPECT_EQ(finding.state, State::warning) << subject;
      if (base::is_sanitized) continue;
      EXPECT_THAT(finding.found, HasSubstr("not permitted"));
      EXPECT_THAT(finding.remedy, HasSubstr("rig/host/allow_real_time"));
    }
    here.keep_awake(true);  // refused or not, no harm is done
    EXPECT_THAT(in_one_line(here.findings()),
                AllOf(HasSubstr("memory not locked"), Not(HasSubstr("SCHED_FIFO 55"))));
  });
}

/// A core that a real-time thread does not leave must not be lost: the kernel ends the process,
/// and with it, as the warden's tests show, the power.
TEST(RealTimeDeathTest, OneThatLoopsIsEndedBeforeItStarvesTheMachine) {  // [S73]
  GTEST_FLAG_SET(death_test_style, "threadsafe");
  bool has_it = false;
  on_a_thread([&] { has_it = has_real_time(RealTime()); });
  if (!has_it) GTEST_SKIP() << "no real-time scheduling here";
  const auto loop = [] {
    on_a_thread([] {
      const RealTime here;
      const auto give_up = lines::kernel_now() + std::chrono::seconds{10};
      while (lines::kernel_now() < give_up) {
      }
    });
    _exit(0);
  };
  EXPECT_EXIT(loop(), ::testing::KilledBySignal(SIGXCPU), "");
}

/// A warden in a process of its own, on the very core of the pulses, as on a computer that has but
/// one.
class WardenBeside {
 public:
  explicit WardenBeside(std::size_t core)
      : board(safety::Board::create(board_file())), warden_([this, core] {
          cpu_set_t alone;
          CPU_ZERO(&alone);
          CPU_SET(core, &alone);
          sched_setaffinity(0, sizeof alone, &alone);
          safety::serve_as_warden(
              setting(), [] { return false; }, [] { (void)safety::confine(); });
        }) {
    lines_.drive(loop, true);
    lines_.drive(lid, true);
    board.want_power(true);
  }
  /// Beats, with rests, until there is power; false if none comes.
  [[nodiscard]] bool beat_until_powered() {
    for (int i = 0; i < 5000 && !board.warden().powered; ++i) {
      board.beat(lines::kernel_now());
      lines::kernel_nap(std::chrono::milliseconds{2});
    }
    return board.warden().powered;
  }

 private:
  lines::VirtualBench lines_;
  [[nodiscard]] std::string board_file() { return lines_.chip() + "-board"; }
  [[nodiscard]] safety::WardenSetting setting() {
    return {.wiring = wiring_of(lines_.chip()),
            .board = board_file(),
            .controller = getppid(),
            .limits = {.heartbeat_age = std::chrono::milliseconds{50},
                       .longest_pulse = std::chrono::seconds{1},
                       .longest_tick = std::chrono::seconds{1}}};
  }

 public:
  safety::Board board;

 private:
  Child warden_;
};

std::size_t core_of_the_pulses() {
  std::size_t core = 0;
  on_a_thread([&] {
    const RealTime here;
    core = static_cast<std::size_t>(sched_getcpu());
  });
  return core;
}

TEST(RealTime, AThreadThatLoopsDoesNotKeepTheWardenFromTakingThePower) {  // [S74]
  bool has_it = false;
  on_a_thread([&] { has_it = has_real_time(RealTime()); });
  if (!has_it) GTEST_SKIP() << "no real-time scheduling here";
  WardenBeside beside(core_of_the_pulses());
  on_a_thread([&] {
    const RealTime here;
    ASSERT_TRUE(beside.beat_until_powered());
    // From here on it neither beats nor sleeps, so only who is more urgent gets this core.
    const auto give_up = lines::kernel_now() + std::chrono::milliseconds{150};
    while (beside.board.warden().powered && lines::kernel_now() < give_up) {
    }
    EXPECT_FALSE(beside.board.warden().powered);
    EXPECT_EQ(beside.board.warden().tripped, safety::WardenCause::heartbeat_missing);
  });
}

/// To a core and a priority that are not RealTime's.
void be(std::size_t core, int priority) {
  cpu_set_t alone;
  CPU_ZERO(&alone);
  CPU_SET(core, &alone);
  sched_setaffinity(0, sizeof alone, &alone);
  const sched_param parameters{.sched_priority = priority};
  sched_setscheduler(0, priority > 0 ? SCHED_FIFO : SCHED_OTHER, &parameters);
}

/// Whether an urgent thread gets a mutex whose holder has lost its core to a thread between the
/// two.
bool is_served_within(std::chrono::milliseconds patience) {
  const std::size_t core = core_of_the_pulses();
  InheritingMutex mutex;
  std::atomic<bool> is_held = false;
  std::atomic<bool> is_urgent = false;
  std::atomic<bool> is_hogged = false;
  std::atomic<bool> is_served = false;
  std::atomic<bool> is_given_up = false;
  std::thread holder([&] {
    be(core, 0);
    const std::scoped_lock lock(mutex);
    is_held = true;
    while (!is_hogged) {  // once it is, this thread gets the core only by inheritance
    }
  });
  std::thread hog([&] {
    while (!is_held || !is_urgent) lines::kernel_nap(std::chrono::milliseconds{1});
    be(core, 1);
    const auto give_up = lines::kernel_now() + patience;
    is_hogged = true;
    while (!is_served && lines::kernel_now() < give_up) {
    }
    if (!is_served) is_given_up = true;
  });
  on_a_thread([&] {
    const RealTime here;
    is_urgent = true;
    while (!is_hogged) lines::kernel_nap(std::chrono::milliseconds{1});
    const std::scoped_lock lock(mutex);
    is_served = true;
  });
  holder.join();
  hog.join();
  return !is_given_up;
}

TEST(InheritingMutex, ItsHolderRunsOnForAnUrgentThreadThatWaitsForIt) {
  bool has_it = false;
  on_a_thread([&] { has_it = has_real_time(RealTime()); });
  if (!has_it) GTEST_SKIP() << "no real-time scheduling here";
  // A machine that is itself held up may eat one patience, not five; without inheritance all five
  // go by.
  bool is_served = false;
  for (int attempt = 0; attempt < 5 && !is_served; ++attempt) {
    is_served = is_served_within(std::chrono::milliseconds{150});
  }
  EXPECT_TRUE(is_served) << "the holder did not get the core";
}

/// A host made of files.
class Host {
 public:
  Host() {
    std::string name = (std::filesystem::temp_directory_path() / "plexor-host-XXXXXX").string();
    if (mkdtemp(name.data()) == nullptr) throw std::runtime_error("no temporary folder");
    root_ = name;
    put("sys/devices/system/cpu/isolated", "2-3\n");
    put("sys/devices/system/cpu/online", "0-3\n");
    put("sys/devices/system/cpu/cpu3/cpufreq/scaling_governor", "performance\n");
    put("sys/kernel/realtime", "1\n");
    put("proc/version", "Linux version 6.12.0 #1 SMP PREEMPT_RT\n");
    put("proc/sys/kernel/sched_rt_runtime_us", "950000\n");
    put("proc/sys/kernel/sched_rt_period_us", "1000000\n");
  }
  ~Host() { std::filesystem::remove_all(root_); }
  Host(const Host&) = delete;
  Host& operator=(const Host&) = delete;

  void put(const std::string& file, const std::string& text) const {
    std::filesystem::create_directories((root_ / file).parent_path());
    std::ofstream(root_ / file) << text;
  }
  void remove(const std::string& file) const { std::filesystem::remove(root_ / file); }
  [[nodiscard]] std::vector<Finding> check() const { return check_scheduling(root_); }
  [[nodiscard]] Finding check(const std::string& subject) const { return about(subject, check()); }

 private:
  std::filesystem::path root_;
};

TEST(CheckScheduling, FindsNothingToMendOnAHostMadeForIt) {
  const Host host;
  for (const auto* subject : {"isolated core", "kernel", "real-time throttling", "clock rate"}) {
    const Finding finding = host.check(subject);
    EXPECT_EQ(finding.state, State::good) << subject;
    EXPECT_THAT(finding.remedy, IsEmpty());
  }
  EXPECT_THAT(host.check("isolated core").found, HasSubstr("core 3"));
}

TEST(CheckScheduling, NamesTheCoreToIsolate) {
  const Host host;
  host.put("sys/devices/system/cpu/isolated", "\n");
  EXPECT_THAT(host.check("isolated core").remedy, HasSubstr("isolcpus=3"));
  host.put("sys/devices/system/cpu/online", "0\n");
  EXPECT_EQ(host.check("isolated core").state, State::warning);
  EXPECT_THAT(host.check("isolated core").remedy, Not(HasSubstr("isolcpus")));
}

TEST(CheckScheduling, KnowsHowAKernelIsPreempted) {
  const Host host;
  host.remove("sys/kernel/realtime");
  host.put("proc/version", "Linux version 6.1.0 #1 SMP PREEMPT\n");
  EXPECT_EQ(host.check("kernel").state, State::good);
  host.put("proc/version", "Linux version 6.1.0 #1 SMP\n");
  EXPECT_THAT(host.check("kernel").remedy, HasSubstr("linux-image-rt"));
  host.put("proc/version", "Linux version 6.1.0 #1 SMP PREEMPT_DYNAMIC\n");
  EXPECT_THAT(host.check("kernel").remedy, HasSubstr("preempt=full"));
  host.put("proc/cmdline", "quiet preempt=full\n");
  EXPECT_EQ(host.check("kernel").state, State::good);
  host.put("sys/kernel/debug/sched/preempt", "none (voluntary) full\n");
  EXPECT_EQ(host.check("kernel").state, State::warning) << "as it is, not as it was at boot";
}

TEST(CheckScheduling, WarnsOfThrottlingThatIsOffOrTooTight) {
  const Host host;
  host.put("proc/sys/kernel/sched_rt_runtime_us", "-1\n");
  EXPECT_THAT(host.check("real-time throttling").remedy, HasSubstr("950000"));
  host.put("proc/sys/kernel/sched_rt_runtime_us", "100000\n");
  EXPECT_EQ(host.check("real-time throttling").state, State::warning);
  host.remove("proc/sys/kernel/sched_rt_runtime_us");
  EXPECT_EQ(host.check("real-time throttling").state, State::good);
}

TEST(CheckScheduling, WarnsOfAGovernorThatSavesPower) {
  const Host host;
  host.put("sys/devices/system/cpu/cpu3/cpufreq/scaling_governor", "powersave\n");
  EXPECT_THAT(host.check("clock rate").remedy, HasSubstr("cpupower"));
}

TEST(CheckScheduling, SaysWhatAPulseThreadWouldBeGranted) {
  const Host host;
  const WithoutRights limits;
  std::vector<Finding> all;
  on_a_thread([&] {
    WithoutRights::become_nobody();
    all = host.check();
  });
  EXPECT_EQ(about("real-time scheduling", all).state, State::warning);
  EXPECT_EQ(about("memory lock", all).state, State::warning);
}

}  // namespace
}  // namespace plexor::run
