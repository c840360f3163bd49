#include "virtual/live_bench.hpp"

#include <algorithm>
#include <array>
#include <utility>

namespace plexor::virtual_rig {

namespace {

using lines::KernelInstant;
using namespace std::chrono_literals;

/// Between two looks at the chain: its own time-outs come at no edge of a line.
constexpr base::Duration look = 200us;
constexpr base::Duration look_without_current = 1ms;
/// A tip switch stays closed about so long.
constexpr base::Duration touch_length = 3ms;
/// The physics plans a pulse of this length where nothing fitted limits it.
constexpr base::Duration long_pulse = 300ms;

}  // namespace

LiveBench::LiveBench(lines::VirtualChip chip, const safety::Wiring& wiring,
                     const PowerChain::Setting& setting, std::unique_ptr<VirtualRig> physics,
                     std::vector<std::unique_ptr<Voice>> voices)
    : chip_(std::move(chip)),
      wiring_(wiring),
      longest_pulse_(setting.longest_on.value_or(long_pulse)),
      chain_(setting),
      physics_(std::move(physics)),
      voices_(std::move(voices)),
      start_(lines::kernel_now()),
      looked_(start_) {
  chain_.loop(is_active(wiring_.stop_loop));
  chain_.lid(is_active(wiring_.lid));
  drive(wiring_.coil_sense, false);
}

void LiveBench::with_devices(const std::function<void(Voice&)>& deed) {
  for (const auto& voice : voices_) deed(*voice);
}

bool LiveBench::is_active(const safety::Wire& wire) const {
  return chip_.is_high(wire.offset) != wire.active_low;
}

void LiveBench::drive(const safety::Wire& wire, bool active) {
  chip_.set_high(wire.offset, active != wire.active_low);
}

void LiveBench::drive(const safety::Wire& wire, bool active, KernelInstant at) {
  chip_.drive(wire.offset, active != wire.active_low, at);
}

void LiveBench::serve(const std::function<bool()>& stop) {
  while (!stop()) {
    const base::Duration wait = coil_on_ ? look : look_without_current;
    const auto change = chip_.next_change(last_change_, looked_ + wait);
    if (change) take(*change);
    const KernelInstant now = lines::kernel_now();
    longest_delay_ = std::max(longest_delay_.load(), now - looked_ - wait);
    looked_ = now;
    settle(change ? std::min(change->at, now) : now);
  }
}

void LiveBench::take(const lines::Change& change) {
  last_change_ = change.number;
  const auto concerns = [&](const safety::Wire& wire) { return wire.offset == change.offset; };
  const auto active = [&](const safety::Wire& wire) { return change.high != wire.active_low; };
  if (concerns(wiring_.stop_loop)) chain_.loop(active(wiring_.stop_loop));
  if (concerns(wiring_.lid)) chain_.lid(active(wiring_.lid));
  if (concerns(wiring_.enable)) chain_.enable(active(wiring_.enable));
  if (concerns(wiring_.watchdog)) chain_.watchdog_edge(change.at);
  if (concerns(wiring_.gate)) chain_.gate(active(wiring_.gate), change.at);
  for (const auto& [device, wire] : power_lines_) {
    if (concerns(wire)) switch_device(device, !active(wire), change.at);
  }
}

/// Its supply alone: the port or socket behind which it speaks stays.
void LiveBench::switch_device(std::uint32_t device, bool on, KernelInstant now) {
  if (physics_) physics_->set_power(device, on);
  if (device >= voices_.size()) return;
  if (on) {
    voices_[device]->reset(now);
  } else {
    voices_[device]->hang();
  }
}

/// What follows at `now` from how the lines are.
void LiveBench::settle(KernelInstant now) {
  advance(now);
  const bool on = chain_.coil_on(now);
  if (on == coil_on_) return;
  coil_on_ = on;
  drive(wiring_.coil_sense, on);
  if (!physics_) return;
  if (on) {
    const base::Pulse pulse{physics_->now(), longest_pulse_};
    physics_->fire(std::array{pulse});
  } else {
    physics_->make_safe();
  }
}

void LiveBench::advance(KernelInstant to) {
  if (touching_until_ && to >= *touching_until_) {
    drive(wiring_.contact.value(), false);
    touching_until_.reset();
  }
  for (const auto& voice : voices_) voice->live(to);
  if (!physics_) return;
  // What lies behind already can't be changed any more: a late look costs that much accuracy.
  while (const auto observation = physics_->observe_until(base::segment_start + (to - start_))) {
    show(*observation);
  }
}

void LiveBench::show(const rig::Observation& observation) {
  if (const auto* event = std::get_if<base::Event>(&observation)) {
    if (event->device < voices_.size()) voices_[event->device]->report(*event, lines::kernel_now());
  } else if (const auto* contact = std::get_if<rig::ContactSensed>(&observation)) {
    touch(start_ + (contact->at - base::segment_start) + contact_lag_);
  } else if (const auto* passed = std::get_if<rig::GatePassed>(&observation)) {
    pass_gate(*passed);
  } else if (const auto* samples = std::get_if<rig::SamplesHeard>(&observation)) {
    if (samples->channel < channels_.size()) channels_[samples->channel]->stream(*samples);
  }
}

void LiveBench::pass_gate(const rig::GatePassed& passed) {
  if (!gate_) return;
  const KernelInstant left = start_ + (passed.at - base::segment_start);
  drive(*gate_, true, left - passed.covered);
  drive(*gate_, false, left);
}

void LiveBench::touch(KernelInstant at) {
  if (!wiring_.contact) return;
  if (touching_until_) drive(*wiring_.contact, false, at);  // a bounce
  drive(*wiring_.contact, true, at);
  touching_until_ = at + touch_length;
}

}  // namespace plexor::virtual_rig
