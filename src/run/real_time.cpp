#include "run/real_time.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <linux/capability.h>
#include <pthread.h>
#include <sched.h>
#include <sys/mman.h>
#include <sys/syscall.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <charconv>
#include <chrono>
#include <fstream>
#include <system_error>
#include <thread>

#include "base/error.hpp"
#include "base/sanitized.hpp"

namespace plexor::run {

namespace {

using rig::Finding;
using State = Finding::State;

constexpr const char* allow = "run \"sudo rig/host/allow_real_time\", then log in again";

/// The first line of a file; empty where there is none.
std::string line_of(const std::filesystem::path& file) {
  std::ifstream in(file);
  std::string line;
  std::getline(in, line);
  return line;
}

/// "2-3,6": the highest; nothing if there is none.
std::optional<std::size_t> last_of_list(const std::string& list) {
  const auto digits = list.find_last_of("0123456789");
  if (digits == std::string::npos) return std::nullopt;
  const auto before = list.find_last_not_of("0123456789", digits);
  return std::stoul(list.substr(before == std::string::npos ? 0 : before + 1));
}

std::optional<long> number_in(const std::filesystem::path& file) {
  const std::string line = line_of(file);
  long number = 0;
  const auto parsed = std::from_chars(line.data(), line.data() + line.size(), number);
  return parsed.ec == std::errc{} ? std::optional(number) : std::nullopt;
}

std::optional<std::size_t> isolated_core(const std::filesystem::path& root) {
  return last_of_list(line_of(root / "sys/devices/system/cpu/isolated"));
}

/// The last of those that this thread may run on.
std::optional<std::size_t> last_core_of_several() {
  cpu_set_t allowed;
  if (sched_getaffinity(0, sizeof allowed, &allowed) != 0 || CPU_COUNT(&allowed) < 2) {
    return std::nullopt;
  }
  std::size_t last = CPU_SETSIZE - 1;
  while (!CPU_ISSET(last, &allowed)) --last;
  return last;
}

bool run_on(std::size_t core) {
  cpu_set_t alone;
  CPU_ZERO(&alone);
  CPU_SET(core, &alone);
  return sched_setaffinity(0, sizeof alone, &alone) == 0;
}

bool has_capability(unsigned number) {
  __user_cap_header_struct who{_LINUX_CAPABILITY_VERSION_3, 0};
  std::array<__user_cap_data_struct, _LINUX_CAPABILITY_U32S_3> held{};
  if (syscall(SYS_capget, &who, held.data()) != 0) return false;
  return (held.at(CAP_TO_INDEX(number)).effective & CAP_TO_MASK(number)) != 0;
}

/// Under a limit it would be the next thing that the program allocates that fails.
bool may_lock_everything() {
  rlimit limit{};
  getrlimit(RLIMIT_MEMLOCK, &limit);
  return limit.rlim_cur == RLIM_INFINITY || has_capability(CAP_IPC_LOCK);
}

/// What the thread will use of its stack is there before it is needed.
void touch_stack() {
  constexpr std::size_t enough = 65'536;
  constexpr std::size_t page = 4096;
  std::array<volatile char, enough> stack;  // NOLINT(*-member-init): to be written only here
  for (std::size_t i = 0; i < enough; i += page) stack.at(i) = 0;
}

}  // namespace

RealTime::RealTime() {
  schedule();
  lock_memory();
  settle_on_a_core();
  reach_for_idle_states();
  touch_stack();
}

RealTime::~RealTime() {
  if (idle_states_ >= 0) close(idle_states_);
  if (locked_) munlockall();
  constexpr sched_param ordinary{};
  sched_setscheduler(0, SCHED_OTHER, &ordinary);
  if (burst_before_) setrlimit(RLIMIT_RTTIME, &*burst_before_);
}

void RealTime::schedule() {
  const std::string subject = "real-time scheduling";
  if (base::is_sanitized) {  // its runtime spins for locks that less urgent threads may hold
    findings_.push_back({State::warning, subject, "not asked for: built with a sanitizer", {}});
    return;
  }
  rlimit before{};
  getrlimit(RLIMIT_RTTIME, &before);
  rlimit burst = before;
  burst.rlim_cur =
      std::min<rlim_t>(before.rlim_max, std::chrono::microseconds{longest_burst}.count());
  constexpr sched_param urgent{.sched_priority = priority};
  // Never the one without the other.
  if (setrlimit(RLIMIT_RTTIME, &burst) == 0 &&
      sched_setscheduler(0, SCHED_FIFO | SCHED_RESET_ON_FORK, &urgent) == 0) {
    burst_before_ = before;
    findings_.push_back({State::good, subject, fmt::format("SCHED_FIFO {}", priority), {}});
    return;
  }
  const std::string reason = base::last_reason();
  setrlimit(RLIMIT_RTTIME, &before);
  findings_.push_back({State::warning, subject,
                       fmt::format("no SCHED_FIFO ({}): other programs make pulses late", reason),
                       allow});
}

void RealTime::lock_memory() {
  const std::string subject = "memory lock";
  errno = EPERM;
  locked_ = may_lock_everything() && mlockall(MCL_CURRENT | MCL_FUTURE) == 0;
  if (locked_) {
    findings_.push_back({State::good, subject, "memory locked", {}});
    return;
  }
  findings_.push_back(
      {State::warning, subject,
       fmt::format("memory not locked ({}): a pulse may wait for the disk", base::last_reason()),
       allow});
}

void RealTime::settle_on_a_core() {
  const std::string subject = "core of the pulses";
  const auto isolated = isolated_core("/");
  if (isolated && run_on(*isolated)) {
    findings_.push_back({State::good, subject, fmt::format("core {}, isolated", *isolated), {}});
    return;
  }
  if (isolated) {
    findings_.push_back(
        {State::warning, subject,
         fmt::format("isolated core {} refused ({})", *isolated, base::last_reason()),
         "let this program run there: see its service's AllowedCPUs"});
  }
  // On one core alone the warden, more urgent, moves to another instead of taking this one.
  const auto last = last_core_of_several();
  const std::string found = last && run_on(*last) ? fmt::format("core {}", *last) : "any core";
  findings_.push_back({State::good, subject, found, {}});
}

void RealTime::reach_for_idle_states() {
  const std::string subject = "idle states";
  idle_states_ = open("/dev/cpu_dma_latency", O_WRONLY | O_CLOEXEC);
  if (idle_states_ >= 0) {
    keep_awake(false);
    findings_.push_back({State::good, subject, "no deep sleep while tapping", {}});
  } else if (errno == ENOENT) {
    findings_.push_back({State::good, subject, "idle states not adjustable", {}});
  } else {
    findings_.push_back({State::warning, subject,
                         fmt::format("/dev/cpu_dma_latency: {}: a sleeping core may wake late",
                                     base::last_reason()),
                         allow});
  }
}

void RealTime::keep_awake(bool awake) noexcept {
  if (idle_states_ < 0) return;
  const std::int32_t longest_wake_us = awake ? 0 : -1;  // -1: whatever the host likes
  (void)!write(idle_states_, &longest_wake_us, sizeof longest_wake_us);
}

std::string in_one_line(const std::vector<Finding>& findings) {
  std::string line;
  for (const Finding& finding : findings) line += (line.empty() ? "" : ", ") + finding.found;
  return line;
}

namespace {

Finding check_isolation(const std::filesystem::path& root) {
  const std::string subject = "isolated core";
  if (const auto core = isolated_core(root)) {
    return {State::good, subject, fmt::format("core {} is kept for the pulses", *core), {}};
  }
  const auto last = last_of_list(line_of(root / "sys/devices/system/cpu/online")).value_or(0);
  if (last == 0) {
    return {State::warning, subject, "the only core is shared with everything else",
            "let nothing else run on this computer while it taps"};
  }
  return {State::warning, subject, "none: other programs share the core of the pulses",
          fmt::format("add \"isolcpus={0} nohz_full={0}\" to the kernel's command line, and reboot",
                      last)};
}

/// What the kernel says of itself, and what it was told at boot or since.
bool is_preempted(const std::string& version, const std::filesystem::path& root) {
  if (version.find("PREEMPT_DYNAMIC") == std::string::npos) {
    return version.find("PREEMPT") != std::string::npos;
  }
  const std::string chosen = line_of(root / "sys/kernel/debug/sched/preempt");
  if (!chosen.empty()) return chosen.find("(full)") != std::string::npos;
  return line_of(root / "proc/cmdline").find("preempt=full") != std::string::npos;
}

Finding check_kernel(const std::filesystem::path& root) {
  const std::string subject = "kernel";
  const std::string version = line_of(root / "proc/version");
  if (line_of(root / "sys/kernel/realtime") == "1") {
    return {State::good, subject, "real-time kernel (PREEMPT_RT)", {}};
  }
  if (is_preempted(version, root)) return {State::good, subject, "preemptible", {}};
  const bool at_boot = version.find("PREEMPT_DYNAMIC") != std::string::npos;
  return {State::warning, subject,
          "not fully preemptible: under load some pulses come many milliseconds late",
          at_boot ? "add \"preempt=full\" to the kernel's command line, and reboot"
                  : "install a real-time kernel (Debian: linux-image-rt-arm64 or -amd64)"};
}

/// The kernel's own guard against real-time threads that loop.
Finding check_throttling(const std::filesystem::path& root) {
  const std::string subject = "real-time throttling";
  const std::string remedy = "set kernel.sched_rt_runtime_us=950000 with sysctl";
  const auto runtime_us = number_in(root / "proc/sys/kernel/sched_rt_runtime_us");
  const long period_us = number_in(root / "proc/sys/kernel/sched_rt_period_us").value_or(1'000'000);
  if (!runtime_us) return {State::good, subject, "none in this kernel", {}};
  if (*runtime_us < 0) {
    return {State::warning, subject, "off: a real-time program that loops stops this computer",
            remedy};
  }
  const std::string found =
      fmt::format("real-time threads may have {} of {} us", *runtime_us, period_us);
  if (*runtime_us >= period_us / 2) return {State::good, subject, found, {}};
  return {State::warning, subject, found, remedy};
}

Finding check_governor(const std::filesystem::path& root) {
  const std::string subject = "clock rate";
  const std::string core = line_of(root / "sys/devices/system/cpu/online");
  const std::string governor =
      line_of(root / fmt::format("sys/devices/system/cpu/cpu{}/cpufreq/scaling_governor",
                                 last_of_list(core).value_or(0)));
  if (governor.empty()) return {State::good, subject, "fixed, or not for this host to say", {}};
  if (governor == "performance") return {State::good, subject, "governor \"performance\"", {}};
  return {
      State::warning, subject,
      fmt::format("governor \"{}\": the core of the pulses may be slow when it wakes", governor),
      "run \"sudo cpupower frequency-set -g performance\" (package linux-cpupower)"};
}

}  // namespace

std::vector<Finding> check_scheduling(const std::filesystem::path& root) {
  std::vector<Finding> all;
  std::thread([&all] { all = RealTime().findings(); }).join();
  for (const auto check : {check_isolation, check_kernel, check_throttling, check_governor}) {
    all.push_back(check(root));
  }
  return all;
}

}  // namespace plexor::run
