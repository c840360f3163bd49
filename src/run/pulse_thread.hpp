#pragma once

#include <array>
#include <atomic>
#include <functional>
#include <future>
#include <memory>
#include <span>
#include <thread>
#include <vector>

#include "base/pulse.hpp"
#include "lines/lines.hpp"
#include "rig/finding.hpp"
#include "rig/ports.hpp"
#include "run/live_clock.hpp"
#include "run/overseer.hpp"
#include "run/real_time.hpp"
#include "safety/limits.hpp"

namespace plexor::run {

/// The one thread that energises the coil: holds the gate, gives the pulses of
/// one trial at their instants, and ticks the overseer all the while. It runs in
/// real time where the host allows (real_time.hpp), sleeps until shortly before
/// an edge and spins from there: also before the one that ends a pulse, because
/// the length of the pulse makes the strike speed.
///
/// Before each rising edge it asks the permit, and its end is fixed before it
/// begins [S62]. Whatever it was told, no pulse is longer than the limit, nor
/// begins sooner after the one before than the limit [S63]. After each pulse
/// the line is read back [S64].
class PulseThread {
 public:
  static constexpr std::size_t most_pulses = 256;  ///< of one trial
  static constexpr base::Duration usual_spin = std::chrono::microseconds{300};
  using Teller = std::function<void(const rig::PulseFired&)>;

  /// `gate`: one output, the gate. `spin`: for how long before an edge it does not sleep.
  PulseThread(std::unique_ptr<lines::Lines> gate, const safety::Limits& limits, Overseer& overseer,
              const LiveClock& clock, Teller tell, base::Duration spin = usual_spin);
  /// Cuts, ends the thread, and lets the gate go inactive.
  ~PulseThread();
  PulseThread(const PulseThread&) = delete;
  PulseThread& operator=(const PulseThread&) = delete;

  /// Queues the pulses of one trial for as long as `epoch` is permitted. Throws
  /// base::RigFault if the trial before is not over, or there are too many.
  void queue(std::span<const base::Pulse> pulses, std::uint64_t epoch);
  /// De-energises and drops what is queued. False if the thread did not do so in
  /// time: then only taking the power helps.
  [[nodiscard]] bool cut() noexcept;
  /// What the host grants the thread, and what it refused.
  [[nodiscard]] const std::vector<rig::Finding>& scheduling() const { return scheduling_; }

 private:
  enum class Slot : std::uint8_t { empty, filling, queued, given };

  void live(std::promise<std::vector<rig::Finding>> scheduled) noexcept;
  void give_trial();
  void give(std::uint32_t tap);
  [[nodiscard]] bool wait_until(lines::KernelInstant at);
  [[nodiscard]] bool nap_until(lines::KernelInstant at);
  [[nodiscard]] bool spin_until(lines::KernelInstant at);
  void tick_if_due(lines::KernelInstant now);
  lines::KernelInstant drive_inactive();

  std::unique_ptr<lines::Lines> gate_;
  safety::Limits limits_;
  Overseer& overseer_;
  const LiveClock& clock_;
  Teller tell_;
  base::Duration spin_;

  // One trial at most: whoever queues fills it, then the thread owns it until it is empty again.
  std::atomic<Slot> slot_ = Slot::empty;
  std::array<base::Pulse, most_pulses> pulses_{};
  std::size_t count_ = 0;
  std::uint64_t epoch_ = 0;

  std::atomic<bool> cut_ = false;
  std::atomic<bool> over_ = false;
  lines::KernelInstant next_tick_;
  lines::KernelInstant rested_at_;  ///< from here on the next pulse may begin
  std::vector<rig::Finding> scheduling_;
  std::thread thread_;
};

}  // namespace plexor::run
