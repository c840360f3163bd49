#include <fmt/format.h>
#include <unistd.h>

#include <CLI/CLI.hpp>
#include <csignal>
#include <exception>
#include <string>
#include <string_view>

#include "app/aside.hpp"
#include "app/exit_code.hpp"
#include "app/rig_loading.hpp"
#include "base/error.hpp"
#include "rig/rig_file.hpp"
#include "safety/confinement.hpp"
#include "safety/warden.hpp"

// The warden's process: started by plexor beside each run on real lines. It
// holds the lines that give power, and ends with the run or before it.

namespace {

using plexor::app::ExitCode;

volatile std::sig_atomic_t asked_to_end = 0;

extern "C" void ask_to_end(int /*signal*/) { asked_to_end = 1; }

/// A key that stops the controller must not stop the warden before it.
void live_apart_from_the_terminal() {
  setsid();
  std::signal(SIGINT, SIG_IGN);
  std::signal(SIGHUP, SIG_IGN);
  std::signal(SIGPIPE, SIG_IGN);
  std::signal(SIGTERM, ask_to_end);
}

plexor::safety::WardenSetting setting_of(const plexor::rig::RigFile& rig) {
  return {.wiring = rig.wiring.value(),
          .board = {},
          .controller = 0,
          .limits = {.heartbeat_age = rig.tiers.heartbeat_age,
                     .longest_pulse = rig.tiers.longest_pulse,
                     // Held up for longer, the one-shot has let go.
                     .longest_tick = rig.tiers.one_shot}};
}

/// Without what needs memory or other system calls: it may not have them any more.
void give_up_rights() {
  constexpr std::string_view refused =
      "WARNING: warden: no real-time scheduling or locked memory: where it comes late it takes the "
      "power; run \"sudo rig/host/allow_real_time\", then log in again\n";
  if (!plexor::safety::confine()) (void)!write(STDERR_FILENO, refused.data(), refused.size());
}

void serve(const std::string& rig_file, const std::string& board, pid_t controller) {
  const auto rig = plexor::app::load_rig(rig_file).rig;
  if (!rig.wiring) throw plexor::base::InputError("warden: " + rig_file + " has no lines to hold");
  auto setting = setting_of(rig);
  setting.board = board;
  setting.controller = controller;
  serve_as_warden(
      setting, [] { return asked_to_end != 0; }, give_up_rights);
}

ExitCode warden_main(int argc, char** argv) {
  plexor::app::keep_standard_streams();
  CLI::App app("The warden of a plexor run: started by plexor, not by hand.", "plexor-warden");
  std::string rig_file;
  std::string board;
  pid_t controller = 0;
  app.add_option("--rig", rig_file, "Rig file")->required();
  app.add_option("--board", board, "Shared memory that the controller made")->required();
  app.add_option("--controller", controller, "Process whose end takes the power")->required();
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    return app.exit(error) == 0 ? ExitCode::pass : ExitCode::wrong_usage;
  }
  live_apart_from_the_terminal();
  serve(rig_file, board, controller);
  return ExitCode::pass;
}

}  // namespace

int main(int argc, char** argv) {
  try {
    return static_cast<int>(warden_main(argc, argv));
  } catch (const std::exception& error) {
    plexor::app::say_aside("plexor-warden: {}\n", error.what());
    return static_cast<int>(ExitCode::fault);
  }
}
