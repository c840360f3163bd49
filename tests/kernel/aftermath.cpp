#include "kernel/aftermath.hpp"

#include "warden/bench_lines.hpp"

namespace plexor {

namespace {

/// The lines as they go by, and the power chain on them.
class Replay {
 public:
  explicit Replay(const virtual_rig::PowerChain::Setting& setting) : chain_(setting) {
    chain_.loop(true);
    chain_.lid(true);
  }

  void open(Opened contact) {
    if (contact == Opened::loop) chain_.loop(false);
    if (contact == Opened::lid) chain_.lid(false);
  }

  /// True for an edge of the watchdog line; a level that is driven again is none.
  bool take(const Driven& driven) {
    if (driven.number == enable) chain_.enable(driven.high);
    if (driven.number == gate) chain_.gate(driven.high, driven.at);
    if (driven.number != watchdog || driven.high == watchdog_high_) return false;
    watchdog_high_ = driven.high;
    chain_.watchdog_edge(driven.at);
    return true;
  }

  [[nodiscard]] bool coil_on(lines::KernelInstant now) const { return chain_.coil_on(now); }

 private:
  virtual_rig::PowerChain chain_;
  bool watchdog_high_ = false;
};

void note_feed(Aftermath& aftermath, const FaultTime& fault, lines::KernelInstant at) {
  if (at <= fault.from) return;
  aftermath.last_feed = at - fault.from;
  if (at > fault.done) ++aftermath.feeds_in_effect;
  if (aftermath.disabled) ++aftermath.feeds_disabled;
}

void note_enable(Aftermath& aftermath, const FaultTime& fault, const Driven& driven) {
  if (driven.number != enable || driven.at <= fault.from) return;
  if (!driven.high && !aftermath.disabled) aftermath.disabled = driven.at - fault.from;
  if (driven.high && aftermath.disabled) aftermath.enabled_again = true;
}

}  // namespace

Aftermath aftermath_of(const std::vector<Driven>& driven, const FaultTime& fault, Opened opened,
                       lines::KernelInstant until, const virtual_rig::PowerChain::Setting& chain) {
  constexpr base::Duration look = std::chrono::microseconds{100};
  Aftermath aftermath;
  Replay replay(chain);
  auto next = driven.begin();
  const auto go_to = [&](lines::KernelInstant now) {
    for (; next != driven.end() && next->at <= now; ++next) {
      note_enable(aftermath, fault, *next);
      if (replay.take(*next)) note_feed(aftermath, fault, next->at);
    }
  };
  go_to(fault.from);
  aftermath.flowed = replay.coil_on(fault.from);
  // Before the fault was done the contact may still have been closed.
  for (lines::KernelInstant now = fault.from; now < until; now += look) {
    go_to(now);
    if (now >= fault.done) replay.open(opened);
    aftermath.ended = !replay.coil_on(now);
    if (!aftermath.ended) aftermath.current = now - fault.from;
  }
  return aftermath;
}

}  // namespace plexor
