#pragma once

#include <string>

namespace plexor::safety {

enum class Habit {
  pulses,     ///< 15 ms in every 60 ms
  stuck_gate  ///< the gate stays on from the first pulse
};

/// A controller in a process of its own: beats, wants power and pulses until somebody ends it.
void live_as_controller(const std::string& chip, const std::string& board_file, Habit habit);

}  // namespace plexor::safety
