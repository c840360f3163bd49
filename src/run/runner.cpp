#include "run/runner.hpp"

#include <algorithm>
#include <utility>

#include "base/error.hpp"

namespace plexor::run {

namespace {

class Driver {
 public:
  Driver(Conductor& conductor, RigPorts rig, journal::Writer& journal, Durability durability,
         const RunHooks& hooks)
      : conductor_(conductor),
        rig_(rig),
        journal_(journal),
        durability_(durability),
        hooks_(hooks) {}

  void carry_out_actions() {
    while (auto action = conductor_.take_action()) {
      std::visit([this](const auto& what) { carry_out(what); }, *action);
    }
  }

 private:
  void carry_out(const Append& append) { journal_.append(append.record); }
  void carry_out(const Fire& fire) {
    if (hooks_.before_fire) hooks_.before_fire(fire);
    rig_.actuator.fire(fire.pulses);
  }
  void carry_out(const MakeSafe&) { rig_.actuator.make_safe(); }
  void carry_out(const SwitchPower& order) {
    if (rig_.power == nullptr) throw base::RigFault("nothing here switches a device's power");
    rig_.power->set_power(order.device, order.on);
  }
  void carry_out(const Tell& tell) {
    if (hooks_.on_settled) hooks_.on_settled(tell.settled);
  }
  void carry_out(const AskForMove& ask) {
    if (hooks_.move_to && hooks_.move_to(ask.spot)) conductor_.moved(rig_.clock.now());
  }
  void carry_out(const Keep& keep) {
    if (hooks_.on_wave) hooks_.on_wave(keep.wave);
  }
  void carry_out(const Commit&) {
    if (durability_ == Durability::synced) {
      journal_.sync();
      conductor_.durable(journal_.durable(), rig_.clock.now());
    } else {
      journal_.flush();
      conductor_.durable(journal_.next_sequence(), rig_.clock.now());
    }
  }

  Conductor& conductor_;
  RigPorts rig_;
  journal::Writer& journal_;
  Durability durability_;
  const RunHooks& hooks_;
};

/// Why the run is to end here, if it is.
std::optional<std::string> stop_from_outside(const RunHooks& hooks) {
  if (hooks.stop_requested()) return "stopped by the user";
  return hooks.must_end ? hooks.must_end() : std::nullopt;
}

void drive(Conductor& conductor, RigPorts rig, Driver& driver, const RunHooks& hooks) {
  conductor.begin(rig.clock.now());
  driver.carry_out_actions();
  while (!conductor.ended()) {
    if (const auto why = stop_from_outside(hooks)) {
      conductor.stop(journal::Ended::Reason::interrupted, *why, rig.clock.now());
      driver.carry_out_actions();
      continue;
    }
    if (hooks.leave_given && hooks.leave_given()) conductor.leave_given(rig.clock.now());
    if (const auto seen = hooks.seen_beside ? hooks.seen_beside() : std::nullopt) {
      conductor.observe(*seen);
    }
    const base::Instant wait = std::min(conductor.wake_at(), rig.clock.now() + hooks.longest_wait);
    if (const auto observation = rig.senses.observe_until(wait)) {
      const auto* left = std::get_if<rig::LeaveEnded>(&*observation);
      if (left != nullptr && hooks.on_leave_ended) hooks.on_leave_ended(*left);
      conductor.observe(*observation);
    } else {
      conductor.wake(rig.clock.now());
      hooks.on_progress(conductor.progress());
    }
    driver.carry_out_actions();
  }
}

}  // namespace

journal::Ended run_to_end(Conductor& conductor, RigPorts rig, journal::Writer& journal,
                          Durability durability, const RunHooks& hooks) {
  try {
    Driver driver(conductor, rig, journal, durability, hooks);
    drive(conductor, rig, driver, hooks);
    journal.sync();
  } catch (...) {
    rig.actuator.make_safe();
    throw;
  }
  rig.actuator.make_safe();
  return *conductor.ended();
}

}  // namespace plexor::run
