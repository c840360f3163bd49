#pragma once

#include <atomic>

#include "app/rig_state.hpp"
#include "rig/rig_file.hpp"
#include "run/conductor.hpp"
#include "safety/coil_memory.hpp"

namespace plexor::app {

/// Keeps what the coil has behind it, before each trial and at the end [S67].
class CoilKeeper {
 public:
  /// Recalls the coil's past, and tells people where it is taken as hot or worn.
  CoilKeeper(const rig::RigFile& rig, const RigState& state);

  [[nodiscard]] const safety::CoilPast& past() const { return now_.past; }
  /// At the end of the last trial that was queued; it only cools after that. From any thread.
  [[nodiscard]] double modelled_body_c() const { return body_c_; }

  /// Pulses are about to be given; `last_off` is how far ahead the last one ends.
  void before(const run::Fire& trial, base::Duration last_off);

  /// Everything that was given is known; without this the coil counts as hot.
  void end_in_order();

 private:
  void tell() const;

  const RigState& state_;
  std::uint64_t rated_;
  safety::CoilNow now_;
  safety::CoilMemory memory_;
  std::atomic<double> body_c_ = 0.0;
};

}  // namespace plexor::app
