#include <fmt/chrono.h>
#include <fmt/format.h>
#include <unistd.h>

#include <chrono>
#include <memory>
#include <string>

#include "app/arming.hpp"
#include "app/aside.hpp"
#include "app/commands.hpp"
#include "app/rig_loading.hpp"
#include "base/error.hpp"
#include "rig/rig_file.hpp"
#include "rig/wall_clock.hpp"
#include "safety/arm_ticket.hpp"

namespace plexor::app {

namespace {

constexpr std::chrono::hours longest_leave{31 * 24};

/// How long leave lasts that ends at this time: "2026-06-12 07:00", or "07:00" for the next.
std::chrono::nanoseconds length_until(const std::string& text) {
  const base::WallTime now = rig::wall_time_now();
  const auto until = rig::local_time_of(text, now, rig::Side::next);
  if (!until) {
    throw base::InputError(fmt::format(
        "--until: found \"{}\"; expected a time like \"07:00\" or \"2026-06-12 07:00\"", text));
  }
  const std::chrono::nanoseconds length{until->unix_ns - now.unix_ns};
  if (length > std::chrono::nanoseconds::zero() && length <= longest_leave) return length;
  throw base::InputError(
      fmt::format("--until: \"{}\" lies {}; expected a time from now to 31 days ahead", text,
                  length <= std::chrono::nanoseconds::zero() ? "in the past" : "too far ahead"));
}

void give_ticket(const rig::RigFile& rig, const RigState& state, const std::string& until) {
  const auto length = length_until(until);
  const safety::BootMoment now = boot_now();
  state.keep_ticket(
      to_text(safety::ArmTicket{rig.name, now.boot_id, getuid(), now.since_boot + length}));
  fmt::print(
      "\"{}\" may be tapped with unattended until {:%Y-%m-%d %H:%M}, by this user, unless "
      "this computer restarts or the interlock trips.\nTake it back with: plexor arm "
      "--rig RIG --revoke\n",
      rig.name,
      fmt::localtime(std::chrono::system_clock::to_time_t(
          std::chrono::system_clock::now() +
          std::chrono::duration_cast<std::chrono::system_clock::duration>(length))));
}

}  // namespace

CommandBody add_arm_command(CLI::App& parser) {
  struct Options {
    std::string rig;
    std::string until;
    bool revoke = false;
  };
  const auto options = std::make_shared<Options>();
  parser.add_option("--rig", options->rig, "Rig file")->required();
  auto* until = parser.add_option("--until", options->until,
                                  "When leave ends: \"07:00\" or \"2026-06-12 07:00\"");
  parser.add_flag("--revoke", options->revoke, "Take the leave back")->excludes(until);
  parser.footer(std::string("Leave to tap unattended, given at the rig, on a terminal.\n\n") +
                cautions + "\nExample: plexor arm --rig rig/workshop.toml --until 07:00");
  return [options] {
    const rig::RigFile rig = load_rig(options->rig).rig;
    if (!rig.wiring) {
      throw base::InputError(options->rig + ": a rig in virtual time needs no leave to tap");
    }
    const RigState state(rig);
    if (options->revoke) {
      state.drop_ticket();
      if (!state.ticket_text().empty()) {
        throw base::RigFault("the arm ticket " + state.ticket_file().string() +
                             " is still there: it could not be removed");
      }
      fmt::print("No leave to tap unattended is given any more.\n");
      return ExitCode::pass;
    }
    if (options->until.empty()) throw base::InputError("plexor arm: give --until TIME or --revoke");
    (void)length_until(options->until);
    const StopSignals stop;
    say_aside("{}", cautions);
    const std::string question = fmt::format(
        "Press Enter to let \"{}\" tap unattended until {}, anything else to leave: ", rig.name,
        options->until);
    if (!wait_for_key(question, stop)) return ExitCode::undecided;
    state.keep_that_cautions_were_shown();
    give_ticket(rig, state, options->until);
    return ExitCode::pass;
  };
}

}  // namespace plexor::app
