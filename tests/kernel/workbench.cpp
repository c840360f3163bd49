#include "kernel/workbench.hpp"

#include <pthread.h>
#include <sched.h>

#include <chrono>
#include <ctime>
#include <functional>
#include <stdexcept>
#include <string_view>
#include <utility>

namespace plexor {

namespace {

using lines::KernelInstant;
using namespace std::chrono_literals;

constexpr base::Duration transit = 14ms;
constexpr base::Duration touch_length = 3ms;
constexpr base::Duration end_of_rhythm = 230ms;  ///< no further knock for so long
constexpr base::Duration quiet_by_then = 30ms;
constexpr base::Duration look = 2ms;
constexpr std::int64_t hour_s = 3600;

Deed timed(const std::function<void()>& what) {
  Deed deed;
  deed.from = lines::kernel_now();
  what();
  deed.done = lines::kernel_now();
  return deed;
}

bool is_due(std::optional<KernelInstant>& at, KernelInstant now) {
  if (!at || now < *at) return false;
  at.reset();
  return true;
}

}  // namespace

Workbench::Workbench(SimulatedChip& chip, Setting setting)
    : chip_(chip),
      setting_(std::move(setting)),
      port_(setting_.port, [this](std::string_view line) { answer(line); }) {
  thread_ = std::thread([this] { live(); });
}

Workbench::~Workbench() {
  over_ = true;
  thread_.join();
}

void Workbench::live() {
  // Matter does not wait for a processor.
  const sched_param first{.sched_priority = 50};
  if (pthread_setschedparam(pthread_self(), SCHED_FIFO, &first) != 0) {
    throw std::runtime_error("no priority for the bench");
  }
  while (!over_) {
    const KernelInstant now = lines::kernel_now();
    follow_gate(now);
    move_tip(now);
    report(now);
    jump(now);
    port_.look();
    lines::kernel_nap(look);
  }
}

void Workbench::follow_gate(KernelInstant now) {
  const bool high = chip_.is_high(setting_.gate);
  if (std::exchange(gate_was_high_, high) || !high) return;
  ++taps_;
  if (taps_ != setting_.missed_tap) touch_at_ = now + transit;
}

void Workbench::move_tip(KernelInstant now) {
  if (is_due(touch_at_, now)) {
    touches_.push_back(timed([this] { chip_.pull(setting_.contact, true); }));
    leave_at_ = now + touch_length;
    decide_at_ = now + end_of_rhythm;
    ++knocks_;
  } else if (is_due(leave_at_, now)) {
    chip_.pull(setting_.contact, false);
  }
}

void Workbench::answer(std::string_view question) {
  if (question == "version") port_.say("panel 1.4.0");
}

void Workbench::report(KernelInstant now) {
  if (!is_due(decide_at_, now) || std::exchange(knocks_, 0) != 2) return;
  reports_.push_back(timed([this] { port_.say("call"); }));
  const auto number = reports_.size();
  if (number == setting_.hour_ahead_after || number == setting_.two_hours_back_after) {
    jump_at_ = now + quiet_by_then;
  }
}

void Workbench::jump(KernelInstant now) {
  if (!is_due(jump_at_, now)) return;
  const bool ahead = reports_.size() == setting_.hour_ahead_after;
  jumps_.push_back(timed([ahead] {
    timespec wall{};
    clock_gettime(CLOCK_REALTIME, &wall);
    wall.tv_sec += ahead ? hour_s : -2 * hour_s;
    if (clock_settime(CLOCK_REALTIME, &wall) != 0) throw std::runtime_error("can't set the clock");
  }));
}

}  // namespace plexor
