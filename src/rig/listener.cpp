#include "rig/listener.hpp"

#include <fmt/format.h>

#include <utility>

#include "rig/line_listener.hpp"
#include "rig/serial_listener.hpp"

namespace plexor::rig {

std::unique_ptr<Listener> make_listener(const Device& device, Hearers hearers) {
  const ListenerSettings& settings = device.listener.value();
  if (const auto* line = std::get_if<LineSettings>(&settings)) {
    return std::make_unique<LineListener>(device.name, *line, std::move(hearers));
  }
  return std::make_unique<SerialListener>(device.name, std::get<SerialSettings>(settings),
                                          device.identity, std::move(hearers));
}

std::optional<std::string> ask_version(const Device& device) {
  if (!device.identity) return std::nullopt;
  const auto ignore_report = [](const Report&) {};
  const auto ignore_state = [](bool, lines::KernelInstant) {};
  return make_listener(device, {.report = ignore_report, .state = ignore_state})
      ->version(device.identity->timeout);
}

std::optional<std::string> version_complaint(const Device& device, const std::string& answered) {
  if (answered == device.version) return std::nullopt;
  return fmt::format("device \"{}\" answers version \"{}\", but the rig file says \"{}\"",
                     device.name, answered, device.version);
}

}  // namespace plexor::rig
