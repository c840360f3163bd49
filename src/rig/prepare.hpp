#pragma once

#include <functional>
#include <optional>
#include <string>

#include "base/time.hpp"
#include "rig/listener_settings.hpp"
#include "rig/rig_file.hpp"

namespace plexor::rig {

/// How a command ended.
struct CommandEnd {
  static constexpr std::size_t longest_output = 65'536;

  std::optional<int> exit_code{};  ///< nothing if a signal ended it
  std::string stopped{};           ///< why it was not left to end by itself; empty if it was
  std::string output{};            ///< what it said on both outputs; of much, the end
};

/// Runs a program with its arguments, found by PATH, without a shell. After its
/// timeout, or once `stop` says so, it is killed with all it has started. Its
/// standard input is empty. Throws base::RigFault if it can't be started.
[[nodiscard]] CommandEnd run_command(
    const PrepareSettings& settings, const std::function<bool()>& stop = [] { return false; });

/// Makes a device ready by its [device.prepare]; gives back what the command said,
/// for the record, or nothing if the rig file has none. Call before listening begins: the
/// command wants the device's port to itself. Throws base::RigFault with the end of
/// that if the command fails, takes too long or was stopped.
[[nodiscard]] std::optional<std::string> prepare(
    const Device& device, const std::function<bool()>& stop = [] { return false; });

}  // namespace plexor::rig
