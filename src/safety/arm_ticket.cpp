#include "safety/arm_ticket.hpp"

#include <fmt/format.h>

#include "base/error.hpp"
#include "base/toml_reader.hpp"

namespace plexor::safety {

namespace {

constexpr int ticket_format = 1;

/// A name as it may stand between quotes in a file.
std::string quoted(const std::string& name) {
  std::string text = "\"";
  for (const char c : name) {
    if (c == '"' || c == '\\') text += '\\';
    text += c;
  }
  return text + "\"";
}

ArmTicket read_ticket(std::string_view text) {
  base::TableReader in = base::TableReader::parse(text, "arm ticket");
  in.refuse_newer_format(ticket_format);
  ArmTicket ticket{in.text("rig"), in.text("boot_id"),
                   static_cast<std::uint32_t>(in.whole("user", 0, 0xffffffff)),
                   in.duration("ends_since_boot_s", {0.0, 1e9})};
  in.finish();
  return ticket;
}

std::string refusal_of(const ArmTicket& ticket, const std::string& rig, std::uint32_t user,
                       const BootMoment& now) {
  if (ticket.rig != rig) return "it is for another rig";
  if (ticket.user != user) return "it is another user's";
  if (ticket.boot_id != now.boot_id) return "it is from before the last reboot";
  if (now.since_boot >= ticket.ends_since_boot) return "it has ended";
  return {};
}

}  // namespace

std::string to_text(const ArmTicket& ticket) {
  return fmt::format(
      "# Leave to tap unattended, given at the rig by \"plexor arm\".\n"
      "format = {}\nrig = {}\nboot_id = \"{}\"\nuser = {}\nends_since_boot_s = {:.3f}\n",
      ticket_format, quoted(ticket.rig), ticket.boot_id, ticket.user,
      base::to_s(ticket.ends_since_boot));
}

TicketCheck check_ticket(std::string_view text, const std::string& rig, std::uint32_t user,
                         const BootMoment& now) {
  try {
    const ArmTicket ticket = read_ticket(text);
    return {refusal_of(ticket, rig, user, now), ticket.ends_since_boot};
  } catch (const base::InputError&) {
    return {"it can't be read", {}};
  }
}

}  // namespace plexor::safety
