#include "run/pulse_thread.hpp"

#include <pthread.h>

#include <algorithm>
#include <utility>

#include "base/error.hpp"

namespace plexor::run {

namespace {

using lines::KernelInstant;
using lines::Level;
using namespace std::chrono_literals;

constexpr base::Duration tick = 5ms;
/// While it waits for an edge it looks up this often, to notice that it is to stop.
constexpr base::Duration longest_nap = 1ms;
/// A line that took longer to write changed at some time that is not known well enough.
constexpr base::Duration sharp_edge = 50us;
/// What the thread may take to obey, its machine being busy.
constexpr base::Duration patience = 500ms;

}  // namespace

PulseThread::PulseThread(std::unique_ptr<lines::Lines> gate, const safety::Limits& limits,
                         Overseer& overseer, const LiveClock& clock, Teller tell,
                         base::Duration spin)
    : gate_(std::move(gate)),
      limits_(limits),
      overseer_(overseer),
      clock_(clock),
      tell_(std::move(tell)),
      spin_(spin),
      next_tick_(lines::kernel_now()),
      rested_at_(next_tick_) {
  std::promise<std::vector<rig::Finding>> scheduled;
  auto scheduling = scheduled.get_future();
  thread_ = std::thread(&PulseThread::live, this, std::move(scheduled));
  scheduling_ = scheduling.get();
}

PulseThread::~PulseThread() {
  cut_ = true;
  over_ = true;
  thread_.join();
}

void PulseThread::queue(std::span<const base::Pulse> pulses, std::uint64_t epoch) {
  if (pulses.size() > most_pulses) throw base::RigFault("too many pulses in one trial");
  Slot empty = Slot::empty;
  if (!slot_.compare_exchange_strong(empty, Slot::filling)) {
    throw base::RigFault("pulses of the trial before are still pending");
  }
  std::copy(pulses.begin(), pulses.end(), pulses_.begin());
  count_ = pulses.size();
  epoch_ = epoch;
  cut_ = false;
  slot_ = Slot::queued;
}

bool PulseThread::cut() noexcept {
  cut_ = true;
  const KernelInstant give_up = lines::kernel_now() + patience;
  while (slot_ != Slot::empty) {
    if (lines::kernel_now() > give_up) return false;
    lines::kernel_nap(longest_nap);
  }
  return true;
}

void PulseThread::live(std::promise<std::vector<rig::Finding>> scheduled) noexcept {
  pthread_setname_np(pthread_self(), "pulses");  // for whoever looks at the process
  RealTime real_time;
  scheduled.set_value(real_time.findings());
  while (!over_) {
    if (slot_ == Slot::queued) {
      real_time.keep_awake(true);
      give_trial();
      real_time.keep_awake(false);
    }
    tick_if_due(lines::kernel_now());
    lines::kernel_sleep_until(next_tick_);  // a trial is queued long before its first pulse
  }
  drive_inactive();
}

void PulseThread::give_trial() {
  slot_ = Slot::given;
  for (std::uint32_t tap = 0; tap < count_ && !cut_; ++tap) {
    const KernelInstant on = clock_.kernel(pulses_[tap].on);
    if (!nap_until(on - spin_)) break;
    // Asked for good at the edge; asked here too, the answer then lies in the core's cache.
    (void)overseer_.permits(epoch_);
    if (!spin_until(on)) break;
    give(tap);
  }
  overseer_.end_trial();
  slot_ = Slot::empty;
}

void PulseThread::give(std::uint32_t tap) {
  const KernelInstant begin = lines::kernel_now();
  if (begin < rested_at_ || !overseer_.pulse_begins(begin, epoch_)) return;
  const KernelInstant on = lines::kernel_now();  // the permit may have had to be waited for
  const KernelInstant off = on + std::min(pulses_[tap].on_time, limits_.max_pulse);
  const bool driven = gate_->try_set(0, Level::active);
  const KernelInstant on_at_the_latest = lines::kernel_now();
  if (!driven) overseer_.fail("the gate could not be driven");
  (void)wait_until(off);
  const KernelInstant ended = drive_inactive();
  rested_at_ = ended + limits_.min_rest;
  overseer_.pulse_ends(ended);
  // Held up in the very edge, it began at some time between: told is how late, and how long, at
  // most.
  const bool is_sharp = on_at_the_latest - on <= sharp_edge;
  tell_({tap, {clock_.of(is_sharp ? on : on_at_the_latest), ended - on}});
}

/// Until the line has been seen inactive; meanwhile the power is taken. Returns when it was driven.
KernelInstant PulseThread::drive_inactive() {
  for (int tries = 0;; ++tries) {
    const bool driven = gate_->try_set(0, Level::inactive);
    const KernelInstant at = lines::kernel_now();
    if (driven && gate_->try_get(0) == Level::inactive) return at;
    overseer_.fail(driven ? "the gate reads active after it was switched off"
                          : "the gate could not be switched off");
    if (over_ && tries > 100) return at;  // it is let go anyway; the warden has taken the power
    tick_if_due(lines::kernel_now());
    lines::kernel_nap(longest_nap);
  }
}

/// False if it is to stop before.
bool PulseThread::wait_until(KernelInstant at) { return nap_until(at - spin_) && spin_until(at); }

bool PulseThread::nap_until(KernelInstant at) {
  for (;;) {
    const KernelInstant now = lines::kernel_now();
    if (cut_) return false;
    if (now >= at) return true;
    tick_if_due(now);
    lines::kernel_sleep_until(std::min(at, now + longest_nap));
  }
}

bool PulseThread::spin_until(KernelInstant at) {
  for (;;) {
    const KernelInstant now = lines::kernel_now();
    if (cut_) return false;  // looked at last: one that came before `at` is always seen
    if (now >= at) return true;
  }
}

void PulseThread::tick_if_due(KernelInstant now) {
  if (now < next_tick_) return;
  next_tick_ = now + tick;
  overseer_.tick(now);
}

}  // namespace plexor::run
