#include "rig/listener.hpp"

#include <fmt/format.h>

#include <utility>

#include "rig/line_listener.hpp"
#include "rig/network/mqtt_listener.hpp"
#include "rig/serial_listener.hpp"

namespace plexor::rig {

/// Where devices come to us, by address and port.
class Listening::Doors {};

namespace {

/// One way to begin to listen for each kind of way.
struct Begin {
  const Device& device;
  const ListenerSettings& settings;
  Hearers hearers;

  std::unique_ptr<Listener> operator()(const SerialSettings& serial) {
    const bool is_asked = asked_way_of(device) == &settings;
    return std::make_unique<SerialListener>(
        device.name, serial, is_asked ? device.identity : std::nullopt, std::move(hearers));
  }
  std::unique_ptr<Listener> operator()(const LineSettings& line) {
    return std::make_unique<LineListener>(device.name, line, std::move(hearers));
  }
  std::unique_ptr<Listener> operator()(const MqttSettings& mqtt) {
    return std::make_unique<MqttListener>(device.name, mqtt, std::move(hearers));
  }
  std::unique_ptr<Listener> operator()(const SocketSettings&) { return nullptr; }
  std::unique_ptr<Listener> operator()(const WebHookSettings&) { return nullptr; }
};

}  // namespace

std::optional<std::string> Listener::version(base::Duration) { return std::nullopt; }

Listening::Listening() : doors_(std::make_unique<Doors>()) {}

Listening::~Listening() = default;

std::unique_ptr<Listener> Listening::listen(const Device& device, const ListenerSettings& settings,
                                            Hearers hearers) {
  return std::visit(Begin{device, settings, std::move(hearers)}, settings.way);
}

std::optional<std::string> ask_version(const Device& device) {
  const ListenerSettings* asked = asked_way_of(device);
  if (!device.identity || asked == nullptr) return std::nullopt;
  const auto ignore_report = [](const Report&) {};
  const auto ignore_state = [](bool, lines::KernelInstant) {};
  Listening listening;
  return listening.listen(device, *asked, {.report = ignore_report, .state = ignore_state})
      ->version(device.identity->timeout);
}

std::optional<std::string> version_complaint(const Device& device, const std::string& answered) {
  if (answered == device.version) return std::nullopt;
  return fmt::format("device \"{}\" answers version \"{}\", but the rig file says \"{}\"",
                     device.name, answered, device.version);
}

}  // namespace plexor::rig
