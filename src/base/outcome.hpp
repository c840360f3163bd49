#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string_view>

namespace plexor::base {

/// How one device answered one trial. Every valid trial has exactly one outcome per device.
enum class Outcome : std::uint8_t {
  hit,                ///< the expected event, after the last contact and within the window
  miss,               ///< no event
  early,              ///< answered before the rhythm ended
  late,               ///< the expected event came only after the window: a miss, not also an alarm
  confusion,          ///< the name of another rhythm
  correct_rejection,  ///< a distractor, and no event
  false_response,     ///< a distractor, and an event
};

inline constexpr std::array all_outcomes{Outcome::hit,           Outcome::miss,
                                         Outcome::early,         Outcome::late,
                                         Outcome::confusion,     Outcome::correct_rejection,
                                         Outcome::false_response};

/// Why a trial's stimulus does not count. Fixed beforehand and blind to the device's answer.
enum class VoidReason : std::uint8_t {
  late_pulse,       ///< a pulse began later (or earlier) than the tolerance
  wrong_pulse,      ///< a pulse was not given, or not of the planned length
  no_contact,       ///< a pulse without a sensed contact
  re_strike,        ///< a second contact from one pulse
  stray_contact,    ///< a contact that no pulse explains (lifted run: any contact)
  listener_down,    ///< a device could not be heard
  reference_shift,  ///< the reference taps around it moved beyond tolerance
  interrupted,      ///< the run ended or stopped during the trial
};

inline constexpr std::array all_void_reasons{VoidReason::late_pulse,      VoidReason::wrong_pulse,
                                             VoidReason::no_contact,      VoidReason::re_strike,
                                             VoidReason::stray_contact,   VoidReason::listener_down,
                                             VoidReason::reference_shift, VoidReason::interrupted};

/// The enumerator's name with '-' for '_': "correct-rejection".
[[nodiscard]] std::string_view to_text(Outcome outcome);
[[nodiscard]] std::string_view to_text(VoidReason reason);
/// The inverse of to_text; nothing for an unknown word.
[[nodiscard]] std::optional<VoidReason> void_reason_from(std::string_view text);

}  // namespace plexor::base
