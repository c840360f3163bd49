#pragma once

#include <atomic>
#include <string>
#include <thread>

#include "coil_witness.hpp"
#include "virtual/live_bench.hpp"
#include "warden/bench_lines.hpp"

namespace plexor {

/// The world outside the computer, on a thread of its own, and the witness that
/// keeps when current flowed.
class Outside {
 public:
  Outside(const std::string& chip, const virtual_rig::PowerChain::Setting& setting)
      : chip_(lines::VirtualChip::open(chip)),
        witness_(chip, wiring_of(chip).coil_sense.offset),
        bench_(lines::VirtualChip::open(chip), wiring_of(chip), setting, nullptr, {}),
        thread_([this] { bench_.serve([this] { return over_.load(); }); }) {}
  ~Outside() {
    over_ = true;
    thread_.join();
  }
  Outside(const Outside&) = delete;
  Outside& operator=(const Outside&) = delete;

  /// Opens or closes the stop loop or the lid.
  void drive(const safety::Wire& wire, bool closed) { chip_.drive(wire.offset, closed); }
  [[nodiscard]] std::vector<CurrentFlow> flows() { return witness_.flows(); }
  [[nodiscard]] bool coil_is_on() { return bench_.coil_is_on(); }
  [[nodiscard]] base::Duration longest_delay() { return bench_.longest_delay(); }

 private:
  lines::VirtualChip chip_;
  CoilWitness witness_;
  virtual_rig::LiveBench bench_;
  std::atomic<bool> over_ = false;
  std::thread thread_;
};

}  // namespace plexor
