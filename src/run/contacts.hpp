#pragma once

#include <cstdint>
#include <vector>

#include "base/pulse.hpp"

// What sensed contacts say of the pulses of one trial.

namespace plexor::run {

/// Sensed contacts by the pulse that explains them; the last entry counts the unexplained.
[[nodiscard]] std::vector<std::uint32_t> contacts_by_pulse(
    const std::vector<base::Pulse>& pulses, const std::vector<base::Instant>& contacts);

/// Of all that a pickup hears: the first contact after each pulse. Clear of the surface a tap
/// can't be confirmed.
[[nodiscard]] std::vector<base::Instant> confirming(const std::vector<base::Pulse>& pulses,
                                                    const std::vector<base::Instant>& heard,
                                                    bool lifted);

/// From the pulses to their contacts, of which there are as many.
[[nodiscard]] base::Duration mean_transit(const std::vector<base::Pulse>& pulses,
                                          const std::vector<base::Instant>& contacts);

}  // namespace plexor::run
