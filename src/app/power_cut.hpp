#pragma once

#include <memory>

#include "base/time.hpp"
#include "journal/sink.hpp"
#include "rig/ports.hpp"

namespace plexor::app {

/// Thrown when the simulated power of the controller itself fails.
struct PowerCut {};

/// The senses of a rig until its controller's power fails: then they throw PowerCut.
class SensesUntilPowerCut final : public rig::Senses {
 public:
  /// Both must outlive it.
  SensesUntilPowerCut(rig::Senses& senses, const rig::Clock& clock, base::Instant cut)
      : senses_(senses), clock_(clock), cut_(cut) {}

  [[nodiscard]] std::optional<rig::Observation> observe_until(base::Instant deadline) override;

 private:
  rig::Senses& senses_;
  const rig::Clock& clock_;
  base::Instant cut_;
};

/// A journal's file as a power cut finds it: it has what was synced, and nothing else.
[[nodiscard]] std::unique_ptr<journal::Sink> only_what_is_synced(
    std::unique_ptr<journal::Sink> file);

/// Ends the process as a power cut does: at once, nothing is written or put in order any more.
[[noreturn]] void die_of_power_cut(base::Instant at);

}  // namespace plexor::app
