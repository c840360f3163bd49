#pragma once

#include <sys/resource.h>

#include <chrono>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "rig/finding.hpp"

namespace plexor::run {

/// Makes the thread that it is made on punctual, as far as the host allows, for
/// as long as it lives: real-time scheduling, the process' memory locked, one
/// core (an isolated one where there is one, else the last), its stack touched.
/// What is refused is a warning among the findings, and the thread goes on without.
///
/// A real-time thread that loops could starve the whole machine, so it may not
/// run on for longer than `longest_burst` without sleeping: the kernel then ends
/// the process (SIGXCPU), and the warden takes the power [S73].
class RealTime {
 public:
  /// Above the threads in which a real-time kernel serves its interrupts (50),
  /// below the warden (60), which must always be able to cut [S74].
  static constexpr int priority = 55;
  static constexpr std::chrono::milliseconds longest_burst{200};

  RealTime();
  /// Unlocks memory, and the thread is an ordinary one again; it keeps its core.
  ~RealTime();
  RealTime(const RealTime&) = delete;
  RealTime& operator=(const RealTime&) = delete;

  /// While `awake`, no core sleeps so deeply that it wakes late. Neither throws nor allocates.
  void keep_awake(bool awake) noexcept;

  /// What was granted, and what was refused, with its remedy.
  [[nodiscard]] const std::vector<rig::Finding>& findings() const { return findings_; }

 private:
  void schedule();
  void lock_memory();
  void settle_on_a_core();
  void reach_for_idle_states();

  std::vector<rig::Finding> findings_;
  std::optional<rlimit> burst_before_;
  bool locked_ = false;
  int idle_states_ = -1;  ///< the open device
};

/// "SCHED_FIFO 55, memory locked, core 3, no deep sleep while tapping", for a run's record.
[[nodiscard]] std::string in_one_line(const std::vector<rig::Finding>& findings);

/// What a pulse thread would be granted here, and what else of the host makes
/// pulses late: for `preflight`. `root`: where /proc and /sys are found.
[[nodiscard]] std::vector<rig::Finding> check_scheduling(const std::filesystem::path& root = "/");

}  // namespace plexor::run
