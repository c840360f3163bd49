#include "rig/listener_settings.hpp"

#include <fmt/format.h>

namespace plexor::rig {

namespace {

std::string address_of(const std::string& host, std::uint16_t port) {
  const bool is_v6 = host.find(':') != std::string::npos;
  return is_v6 ? fmt::format("[{}]:{}", host, port) : fmt::format("{}:{}", host, port);
}

struct Place {
  std::string operator()(const SerialSettings& serial) const {
    return serial.port.empty() ? std::string() : "port " + serial.port;
  }
  std::string operator()(const LineSettings& line) const {
    return fmt::format("line {} of {}", line.wire.offset, line.chip);
  }
  std::string operator()(const MqttSettings& mqtt) const {
    return fmt::format("topic {} at {}", mqtt.topic,
                       address_of(mqtt.broker.host, mqtt.broker.port));
  }
  std::string operator()(const SocketSettings& socket) const {
    const bool is_tcp = socket.transport == Transport::tcp;
    return fmt::format("{} {}", is_tcp ? "tcp" : "udp", address_of(socket.host, socket.port));
  }
  std::string operator()(const WebHookSettings& hook) const {
    return fmt::format("http://{}{}", address_of(hook.host, hook.port), hook.path);
  }
};

struct FormatOf {
  const ReportFormat* operator()(const LineSettings&) const { return nullptr; }
  template <typename Settings>
  const ReportFormat* operator()(const Settings& settings) const {
    return &settings.format;
  }
};

}  // namespace

std::string place_of(const Way& way) { return std::visit(Place{}, way); }

const ReportFormat* ListenerSettings::format() const { return std::visit(FormatOf{}, way); }

base::Duration hold_back(const Way& way) {
  const auto* line = std::get_if<LineSettings>(&way);
  if (line == nullptr || line->report == LineReport::edge) return {};
  return line->report == LineReport::pulses ? line->pulse_gap : line->debounce;
}

}  // namespace plexor::rig
