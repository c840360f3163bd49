#pragma once

#include <optional>
#include <string>

#include "app/rig_state.hpp"
#include "app/stop_signals.hpp"
#include "lines/lines.hpp"

namespace plexor::app {

/// The cautions that stand before anything moves, for people.
inline constexpr const char* cautions =
    "CAUTION. The tapper moves by itself. It can pinch, burn and injure an eye.\n"
    "- Keep fingers, eyes, children and pets away; wear eye protection near it.\n"
    "- Do not tap on what may not be damaged: glass and tiles break, surfaces dent.\n"
    "- The coil gets hot; let it cool before you touch it.\n"
    "- A key press or a signal is a stop, not an emergency stop (ISO 13850): fit a stop loop\n"
    "  and a lid switch that cut the coil's supply themselves (rig/wiring.md).\n"
    "- Extra-low voltage only (IEC 61140). Local codes come first; mains and machines that\n"
    "  other people use are for licensed people.\n";

/// Leave to tap, as a person gave it.
struct Leave {
  std::optional<lines::KernelInstant> ends;  ///< with a ticket; else with the run
};

/// Asks for leave to tap [S5] [S66]: a valid ticket; else with `countdown` five
/// seconds in which anybody can still stop it; else a key press on this
/// terminal. Nothing if somebody stopped it. Throws base::RigFault where nobody
/// is there to ask.
[[nodiscard]] std::optional<Leave> ask_for_leave(const std::string& rig, const RigState& state,
                                                 bool countdown, const StopSignals& stop);

/// Leave by the arm ticket alone; nothing where none gives it, and why is said.
[[nodiscard]] std::optional<Leave> leave_by_ticket(const std::string& rig, const RigState& state);

/// Somebody may be there to be asked.
[[nodiscard]] bool has_terminal();

/// What a person pressed on the terminal since the last time, without waiting.
enum class Key : std::uint8_t { none, enter, other };
[[nodiscard]] Key key_pressed();
/// Throws base::RigFault if standard input is no terminal.
void need_terminal();

/// Shows `question` and waits for the Enter key on the terminal; false if it was
/// stopped. Throws base::RigFault if standard input is no terminal.
[[nodiscard]] bool wait_for_key(const std::string& question, const StopSignals& stop);

}  // namespace plexor::app
