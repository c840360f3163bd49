#pragma once

#include <CLI/CLI.hpp>
#include <functional>

#include "app/exit_code.hpp"

namespace plexor::app {

/// Does a command whose options have been read. Throws base::InputError and base::RigFault.
using CommandBody = std::function<ExitCode()>;

// Each adds one command with its options and an example to `parser` and returns its body.
// One file for each command: NAME_command.cpp.
CommandBody add_run_command(CLI::App& parser);
CommandBody add_report_command(CLI::App& parser);
CommandBody add_compare_command(CLI::App& parser);
CommandBody add_units_command(CLI::App& parser);
CommandBody add_surfaces_command(CLI::App& parser);
CommandBody add_order_command(CLI::App& parser);
CommandBody add_rehearse_command(CLI::App& parser);
CommandBody add_preflight_command(CLI::App& parser);
CommandBody add_listen_command(CLI::App& parser);
CommandBody add_learn_command(CLI::App& parser);
CommandBody add_tap_command(CLI::App& parser);
CommandBody add_calibrate_command(CLI::App& parser);
CommandBody add_arm_command(CLI::App& parser);
CommandBody add_mark_command(CLI::App& parser);
CommandBody add_keep_command(CLI::App& parser);
CommandBody add_archive_command(CLI::App& parser);
CommandBody add_trend_command(CLI::App& parser);
CommandBody add_night_command(CLI::App& parser);
CommandBody add_simulate_command(CLI::App& parser);
CommandBody add_queue_command(CLI::App& parser);
CommandBody add_work_command(CLI::App& parser);

}  // namespace plexor::app
