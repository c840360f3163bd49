#include "rig/listener.hpp"

#include <fmt/format.h>

#include <map>
#include <utility>

#include "rig/line_listener.hpp"
#include "rig/network/mqtt_listener.hpp"
#include "rig/network/socket_listener.hpp"
#include "rig/network/web_hook_listener.hpp"
#include "rig/serial_listener.hpp"

namespace plexor::rig {

/// Where devices come to us, by address and port.
class Listening::Doors {
 public:
  std::shared_ptr<WebHookServer> server(const WebHookSettings& hook) {
    return shared(web_hooks_[{hook.host, hook.port}],
                  [&hook] { return std::make_shared<WebHookServer>(hook.host, hook.port); });
  }
  std::shared_ptr<SocketServer> server(const SocketSettings& socket) {
    return shared(sockets_[place_of(socket)], [&socket] { return SocketServer::open(socket); });
  }

 private:
  /// The one that is open, or a new one.
  template <typename Server, typename Open>
  static std::shared_ptr<Server> shared(std::weak_ptr<Server>& known, Open open) {
    std::shared_ptr<Server> server = known.lock();
    if (!server) known = server = open();
    return server;
  }

  std::map<std::pair<std::string, std::uint16_t>, std::weak_ptr<WebHookServer>> web_hooks_;
  std::map<std::string, std::weak_ptr<SocketServer>> sockets_;
};

namespace {

/// One way to begin to listen for each kind of way.
template <typename Doors>
struct Begin {
  Doors& doors;
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
  std::unique_ptr<Listener> operator()(const SocketSettings& socket) {
    return std::make_unique<SocketListener>(device.name, socket, std::move(hearers),
                                            socket.serves ? doors.server(socket) : nullptr);
  }
  std::unique_ptr<Listener> operator()(const WebHookSettings& hook) {
    return std::make_unique<WebHookListener>(device.name, hook, std::move(hearers),
                                             doors.server(hook));
  }
};

}  // namespace

std::optional<std::string> Listener::version(base::Duration) { return std::nullopt; }

Listening::Listening() : doors_(std::make_unique<Doors>()) {}

Listening::~Listening() = default;

std::unique_ptr<Listener> Listening::listen(const Device& device, const ListenerSettings& settings,
                                            Hearers hearers) {
  return std::visit(Begin<Doors>{*doors_, device, settings, std::move(hearers)}, settings.way);
}

std::optional<std::string> ask_version(const Device& device) {
  const ListenerSettings* asked = asked_way_of(device);
  if (!device.identity || asked == nullptr) return std::nullopt;
  Listening listening;
  return listening.listen(device, *asked, nobody())->version(device.identity->timeout);
}

std::optional<std::string> version_complaint(const Device& device, const std::string& answered) {
  if (answered == device.version) return std::nullopt;
  return fmt::format("device \"{}\" answers version \"{}\", but the rig file says \"{}\"",
                     device.name, answered, device.version);
}

}  // namespace plexor::rig
