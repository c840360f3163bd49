#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include "safety/limits.hpp"
#include "safety/thermal.hpp"

namespace plexor::safety {

// A restart does not cool a coil: what it has behind it outlives the process, in
// a file that is written before each trial and at the end. [S67]

/// A moment of one boot of one host: CLOCK_BOOTTIME and the kernel's boot id.
struct BootMoment {
  std::string boot_id;
  base::Duration since_boot{};
};

/// What is kept from one run to the next.
struct CoilMemory {
  CoilPast past;  ///< as of `at`
  BootMoment at;
  bool ended_in_order = false;  ///< else something happened that nobody knows
  std::uint64_t taps = 0;       ///< of the tapper's whole life
};

/// What is known of the coil now.
struct CoilNow {
  CoilPast past;
  std::uint64_t taps = 0;
  std::string taken_as_hot;  ///< why, where it is; empty if it is known
};

/// The text of the file.
[[nodiscard]] std::string to_text(const CoilMemory& memory);

/// What the coil has behind it at `now`. It cools by the least time that can have
/// passed: within one boot the time since, else the time since this boot began
/// (wall clocks lie). A text that can't be read, or that a run left behind that
/// did not end in order, means hot: both nodes at the limit, the duty used up.
/// No text at all (never tapped with it here) means that too.
[[nodiscard]] CoilNow recall(std::string_view text, const BootMoment& now, const Limits& limits,
                             const CoilModel& coil);

}  // namespace plexor::safety
