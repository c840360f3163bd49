#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "safety/coil_memory.hpp"

namespace plexor::safety {

/// Leave to tap unattended, given at the rig: for one rig, one boot of one
/// computer, one user, with an end. [S66]
struct ArmTicket {
  std::string rig;
  std::string boot_id;
  std::uint32_t user = 0;
  base::Duration ends_since_boot{};  ///< CLOCK_BOOTTIME
};

/// The text of a ticket's file.
[[nodiscard]] std::string to_text(const ArmTicket& ticket);

/// What a ticket is good for.
struct TicketCheck {
  std::string refusal;  ///< "it has ended", "it is from before the last reboot"; empty if good
  base::Duration ends_since_boot{};
};
/// Whether the ticket in this text gives leave for `rig` and `user` at `now`, and until when.
[[nodiscard]] TicketCheck check_ticket(std::string_view text, const std::string& rig,
                                       std::uint32_t user, const BootMoment& now);

}  // namespace plexor::safety
