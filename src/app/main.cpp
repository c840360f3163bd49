#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <csignal>
#include <cstdio>
#include <exception>
#include <string_view>
#include <utility>
#include <vector>

#include "app/aside.hpp"
#include "app/commands.hpp"
#include "base/error.hpp"

namespace {

using plexor::app::ExitCode;

struct Command {
  CLI::App* parser;
  plexor::app::CommandBody body;
};

ExitCode complain(ExitCode code, const char* message) {
  plexor::app::say_aside("plexor: {}\n", message);
  return code;
}

ExitCode carry_out(const plexor::app::CommandBody& body) {
  try {
    const ExitCode code = body();
    if (std::fflush(stdout) == 0) return code;
    return complain(ExitCode::fault,
                    "stdout: the answer could not be written; run \"plexor report\"");
  } catch (const plexor::base::InputError& error) {
    return complain(ExitCode::wrong_usage, error.what());
  } catch (const plexor::base::RigFault& fault) {
    return complain(ExitCode::fault, fault.what());
  } catch (const std::exception& error) {
    return complain(ExitCode::fault, error.what());
  }
}

bool is_for_bisection(int argc, char** argv) {
  return std::any_of(argv, argv + argc,
                     [](std::string_view argument) { return argument.starts_with("--bisect"); });
}

/// A bisection takes any exit code below 128 for an answer: whatever is none must stop it.
ExitCode as_answer(ExitCode code) {
  const bool is_answer =
      code == ExitCode::pass || code == ExitCode::fail || code == ExitCode::bisect_skip;
  return is_answer ? code : ExitCode::bisect_stop;
}

ExitCode plexor_main(int argc, char** argv) {
  plexor::app::keep_standard_streams();
  std::signal(SIGXFSZ, SIG_IGN);  // a file size limit is a failed write, with its message
  CLI::App app(
      "plexor knocks on a surface, on schedule and at a known speed, and tells how well "
      "the knock sensor on it heard it.",
      "plexor");
  app.set_version_flag("--version", "plexor " PLEXOR_VERSION);
  app.require_subcommand(1);
  app.footer(
      "Exit codes: 0 pass, 1 fail, 2 wrong usage or file, 3 unsafe or rig fault,\n"
      "4 undecided or interrupted.\n"
      "Example: plexor run scenarios/regression.toml --rig rig/simulated-oak.toml");

  std::vector<Command> commands;
  const auto add = [&](const char* name, const char* does, auto add_command) {
    CLI::App* parser = app.add_subcommand(name, does);
    commands.push_back({parser, add_command(*parser)});
  };
  using namespace plexor::app;
  add("rehearse", "Show the plan and what it can prove; move nothing", add_rehearse_command);
  add("run", "Tap the scenario, listen, and report: the main job", add_run_command);
  add("night", "Spend a night: go on or begin anew, report, archive, and say what changed",
      add_night_command);
  add("preflight", "Check a rig and its computer; say what to fix", add_preflight_command);
  add("listen", "Show what the devices say, as it comes", add_listen_command);
  add("learn", "Hear a person knock a rhythm; write it for a scenario", add_learn_command);
  add("tap", "Tap by hand: one tap, or a few", add_tap_command);
  add("calibrate", "Measure drive against strike speed and transit", add_calibrate_command);
  add("arm", "Give leave to tap unattended, at the rig", add_arm_command);
  add("mark", "Tell a run of a disturbance while it goes on", add_mark_command);
  add("keep", "Remove journals of old nights; results stay", add_keep_command);
  add("simulate", "Serve a rig that does not exist in real time: lines and ports",
      add_simulate_command);
  add("report", "Make the reports of a run again from its journal", add_report_command);
  add("compare", "Tell whether a release is worse than the one before", add_compare_command);
  add("units", "Tell whether a unit stands out among several", add_units_command);
  add("surfaces", "Surfaces side by side: how hard to knock, how they ring, what a detector needs",
      add_surfaces_command);
  add("trend", "Tell what changed over many nights, and why", add_trend_command);
  add("archive", "Put runs into an archive of many", add_archive_command);
  add("queue", "Show what several rigs have to do, or add to it", add_queue_command);
  add("work", "Do what is in the queue with this rig, and record it", add_work_command);
  add("order", "Plan in which order to run units or releases", add_order_command);

  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    const bool was_asked_for_help = app.exit(error) == 0 && !is_for_bisection(argc, argv);
    return was_asked_for_help ? ExitCode::pass : ExitCode::wrong_usage;
  }
  for (const Command& command : commands) {
    if (command.parser->parsed()) return carry_out(command.body);
  }
  return ExitCode::wrong_usage;
}

}  // namespace

int main(int argc, char** argv) {
  ExitCode code = ExitCode::fault;
  try {
    code = plexor_main(argc, argv);
  } catch (const std::exception& error) {
    complain(code, error.what());
  }
  return static_cast<int>(is_for_bisection(argc, argv) ? as_answer(code) : code);
}
