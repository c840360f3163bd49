#pragma once

#include <functional>
#include <optional>
#include <vector>

#include "rig/rig_file.hpp"
#include "run/conductor.hpp"
#include "run/runner.hpp"
#include "safety/limits.hpp"

namespace plexor::run {

/// What one tap by hand did.
struct HandTap {
  base::Pulse actual;                   ///< as it was given
  double winding_c = 0.0;               ///< modelled, when it began
  std::vector<base::Instant> contacts;  ///< as sensed, in time order
  std::optional<rig::GatePassed> gate;  ///< the flag on its way out
  std::vector<base::Event> heard;       ///< what devices reported meanwhile

  /// From the pulse's beginning to the first contact.
  [[nodiscard]] std::optional<base::Duration> transit() const;
  /// Speed at contact by the speed gate; nothing if gate or contact did not see it.
  [[nodiscard]] std::optional<double> strike_m_s(const rig::SpeedGate& gate) const;
};

/// Taps one pulse after the other outside of a run: for bring-up and calibration.
/// Each is checked against the rig's limits like a run's; a coil that is too warm
/// makes it wait.
class HandTapper {
 public:
  struct Hooks {
    std::function<bool()> stop_requested;
    std::function<void(const Fire&)> before_fire{};
  };

  /// `past`: what the coil has behind it now.
  HandTapper(const rig::RigFile& rig, RigPorts ports, const safety::CoilPast& past, Hooks hooks);

  /// Gives one pulse and watches for `watch` after its end. Nothing if it was stopped
  /// before. Throws base::RigFault where a limit forbids it for good, leave to tap has
  /// ended, or the pulse did not end in time.
  [[nodiscard]] std::optional<HandTap> tap(base::Duration on_time, base::Duration watch);

  [[nodiscard]] double winding_c() const;

 private:
  [[nodiscard]] bool wait_until(base::Instant at, HandTap* tap);
  void take(const rig::Observation& observation, HandTap* tap);
  [[nodiscard]] std::optional<base::Pulse> pulse_that_fits(base::Duration on_time);
  void account_for(const base::Pulse& planned, const base::Pulse& actual);

  const rig::RigFile& rig_;
  RigPorts ports_;
  safety::PulseCheck check_;
  Hooks hooks_;
};

}  // namespace plexor::run
