#include "outside.hpp"

namespace plexor {

using namespace std::chrono_literals;

Outside::Outside(const std::string& chip, const virtual_rig::PowerChain::Setting& setting)
    : chip_(lines::VirtualChip::open(chip)), chain_(setting), thread_([this] { live(); }) {}

Outside::~Outside() {
  over_ = true;
  thread_.join();
}

std::vector<CurrentFlow> Outside::flows() {
  const std::scoped_lock lock(mutex_);
  return flows_;
}

void Outside::live() {
  constexpr base::Duration look = 200us;
  chain_.loop(chip_.is_high(loop));
  chain_.lid(chip_.is_high(lid));
  std::uint64_t last = 0;
  lines::KernelInstant looked = lines::kernel_now();
  while (!over_) {
    if (const auto change = chip_.next_change(last, looked + look)) {
      last = change->number;
      switch (change->offset) {
        case loop: chain_.loop(change->high); break;
        case lid: chain_.lid(change->high); break;
        case enable: chain_.enable(change->high); break;
        case watchdog: chain_.watchdog_edge(change->at); break;
        case gate: chain_.gate(change->high, change->at); break;
        default: break;
      }
    }
    const lines::KernelInstant now = lines::kernel_now();
    if (now - looked > longest_delay_.load()) longest_delay_ = now - looked;
    looked = now;
    const bool on = chain_.coil_on(now);
    coil_on_ = on;
    chip_.set_high(coil, on);
    const std::scoped_lock lock(mutex_);
    const bool flowing = !flows_.empty() && !flows_.back().ended;
    if (on && !flowing) flows_.push_back({now, now, false});
    if (flowing) flows_.back().to = now;
    if (!on && flowing) flows_.back().ended = true;
  }
}

}  // namespace plexor
