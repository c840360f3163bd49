#include "app/arming.hpp"

#include <fmt/format.h>
#include <poll.h>
#include <termios.h>
#include <unistd.h>

#include <array>
#include <cstdio>

#include "app/aside.hpp"
#include "base/error.hpp"
#include "safety/arm_ticket.hpp"

namespace plexor::app {

namespace {

using namespace std::chrono_literals;

constexpr int countdown_s = 5;

/// False if somebody stopped it.
bool count_down(const std::string& rig, const StopSignals& stop) {
  for (int left = countdown_s; left > 0; --left) {
    say_aside("Arming \"{}\" in {} s; Ctrl-C stops it.\n", rig, left);
    for (int tenth = 0; tenth < 10; ++tenth) {
      if (stop.requested()) return false;
      lines::kernel_nap(100ms);
    }
  }
  return true;
}

void show_cautions(const RigState& state) {
  if (state.cautions_were_shown()) {
    say_aside("CAUTION: the tapper will move by itself. Hands and eyes away.\n");
    return;
  }
  say_aside("{}", cautions);
}

}  // namespace

std::optional<Leave> leave_by_ticket(const std::string& rig, const RigState& state) {
  const std::string text = state.ticket_text();
  if (text.empty()) return std::nullopt;
  const safety::BootMoment now = boot_now();
  const safety::TicketCheck check = check_ticket(text, rig, getuid(), now);
  if (!check.refusal.empty()) {
    say_aside("The arm ticket {} gives no leave: {}.\n", state.ticket_file().string(),
              check.refusal);
    return std::nullopt;
  }
  return Leave{lines::kernel_now() + (check.ends_since_boot - now.since_boot)};
}

bool has_terminal() { return isatty(STDIN_FILENO) == 1; }

void need_terminal() {
  if (has_terminal()) return;
  throw base::RigFault(
      "nobody is at the terminal to give leave to tap; use --arm at the rig, or an arm ticket "
      "(plexor arm)");
}

Key key_pressed() {
  pollfd key{STDIN_FILENO, POLLIN, 0};
  if (poll(&key, 1, 0) <= 0) return Key::none;
  std::array<char, 256> line{};
  const ssize_t bytes = read(STDIN_FILENO, line.data(), line.size());
  return bytes > 0 && line[0] == '\n' ? Key::enter : Key::other;
}

bool wait_for_key(const std::string& question, const StopSignals& stop) {
  need_terminal();
  tcflush(STDIN_FILENO, TCIFLUSH);  // a key pressed before the question is no answer to it
  say_aside("{}", question);
  std::fflush(stderr);
  while (!stop.requested()) {
    if (const Key key = key_pressed(); key != Key::none) return key == Key::enter;
    lines::kernel_nap(100ms);
  }
  return false;
}

std::optional<Leave> ask_for_leave(const std::string& rig, const RigState& state, bool countdown,
                                   const StopSignals& stop) {
  if (auto leave = leave_by_ticket(rig, state)) return leave;
  show_cautions(state);
  const bool given =
      countdown
          ? count_down(rig, stop)
          : wait_for_key(fmt::format("Press Enter to arm \"{}\", anything else to leave: ", rig),
                         stop);
  if (!given) return std::nullopt;
  if (!state.cautions_were_shown()) state.keep_that_cautions_were_shown();
  return Leave{};
}

}  // namespace plexor::app
