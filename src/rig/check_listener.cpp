#include "rig/check_listener.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <boost/asio/ip/address.hpp>

#include "rig/listener.hpp"
#include "rig/network/check_socket.hpp"
#include "rig/network/mqtt_client.hpp"
#include "rig/network/reach.hpp"
#include "rig/network/secret.hpp"
#include "rig/serial_port.hpp"

namespace plexor::rig {

namespace {

using namespace std::chrono_literals;
using State = Finding::State;

Finding port_is_good(const Device& device, const SerialSettings& settings, const SerialPort& port) {
  return {State::good, fmt::format("port of \"{}\"", device.name),
          fmt::format("{}, free, {} baud", port.path(), settings.baud)};
}

Finding bridge_of(const Device& device, const SerialPort& port) {
  const std::string subject = fmt::format("USB bridge of \"{}\"", device.name);
  const double ms = base::to_ms(port.latency());
  if (port.latency() <= 1ms) {
    return {State::good, subject, fmt::format("latency timer {} ms", ms)};
  }
  return {
      State::warning, subject,
      fmt::format("keeps bytes back for up to {} ms: that much more uncertainty of latencies", ms),
      fmt::format("echo 1 | sudo tee /sys/bus/usb-serial/devices/{}/latency_timer",
                  port.path().substr(port.path().rfind('/') + 1))};
}

Finding answer_of(const Device& device) {
  const std::string subject = fmt::format("version of \"{}\"", device.name);
  const auto answered = ask_version(device);
  if (!answered) {
    return {State::bad, subject,
            fmt::format("no answer within {:g} s", base::to_s(device.identity->timeout)),
            "check that it runs, \"baud\", and \"query\" and \"pattern\" of [device.identity]"};
  }
  if (version_complaint(device, *answered)) {
    return {State::bad, subject,
            fmt::format("it answers \"{}\", the rig file says \"{}\"", *answered, device.version),
            "put the right version into the rig file, or the right firmware into the device"};
  }
  return {State::good, subject, *answered};
}

void check_port(const Device& device, const SerialSettings& settings,
                std::vector<Finding>& findings) {
  const SerialPort port(settings);
  findings.push_back(port_is_good(device, settings, port));
  if (port.latency() > base::Duration::zero()) findings.push_back(bridge_of(device, port));
}

/// Makes the connection and asks for the topic, as a run would.
Finding check_broker(const std::string& subject, const BrokerSettings& broker,
                     const std::string& topic, std::int32_t qos) {
  const std::string address = fmt::format("{}:{}", broker.host, broker.port);
  try {
    const base::Duration trip =
        MqttClient::round_trip({.broker = broker, .topic = topic, .qos = qos}, 5s);
    const std::string found = fmt::format("{}, {}round trip {:.1f} ms, {}", address,
                                          topic.empty() ? "" : fmt::format("QoS {}, ", qos),
                                          base::to_ms(trip), broker.tls ? "TLS" : "not encrypted");
    return {State::good, subject, found};
  } catch (const std::runtime_error& error) {
    return {
        State::bad, subject, fmt::format("{}: {}", address, error.what()),
        "check that it runs, \"host\", \"port\", \"version\", \"user\", the password and \"tls\""};
  }
}

std::vector<Finding> check_line(const Device& device, const ListenerSettings& settings) {
  const auto& line = std::get<LineSettings>(settings.way);
  Listening listening;
  const auto listener = listening.listen(device, settings, nobody());
  return {{State::good, fmt::format("line of \"{}\"", device.name),
           fmt::format("line {} of {}, free", line.wire.offset, line.chip)}};
}

/// Where the device is to send its requests.
Finding web_hook_is_good(const Device& device, const WebHookSettings& hook) {
  const bool is_any = boost::asio::ip::make_address(hook.host).is_unspecified();
  const std::string url =
      is_any ? fmt::format("http://ADDRESS-OF-THIS-COMPUTER:{}{}", hook.port, hook.path)
             : place_of(hook);
  return {
      State::good, fmt::format("web hook of \"{}\"", device.name),
      fmt::format("address and port free, token usable; it sends to {}, {}", url,
                  hook.peers.empty() ? "from any address"
                                     : fmt::format("only from {}", fmt::join(hook.peers, ", ")))};
}

Finding token_travels_open(const Device& device, const WebHookSettings& hook) {
  return {
      State::warning, fmt::format("token of \"{}\"", device.name),
      fmt::format("travels unencrypted to {}: whoever listens on that network can use it{}",
                  hook.host, hook.peers.empty() ? ", and \"peers\" does not say who may send" : ""),
      hook.peers.empty() ? "a network of the rig's own, or the devices' addresses as \"peers\""
                         : "a network of the rig's own, if others use this one"};
}

std::vector<Finding> check_web_hook(const Device& device, const ListenerSettings& settings) {
  const auto& hook = std::get<WebHookSettings>(settings.way);
  Listening listening;
  const auto listener = listening.listen(device, settings, nobody());
  std::vector<Finding> findings{web_hook_is_good(device, hook)};
  if (!boost::asio::ip::make_address(hook.host).is_loopback()) {
    findings.push_back(token_travels_open(device, hook));
  }
  return findings;
}

std::vector<Finding> check_way(const Device& device, const ListenerSettings& settings) {
  std::vector<Finding> findings;
  if (std::holds_alternative<LineSettings>(settings.way)) return check_line(device, settings);
  if (std::holds_alternative<WebHookSettings>(settings.way)) {
    return check_web_hook(device, settings);
  }
  if (std::holds_alternative<SocketSettings>(settings.way)) return check_socket(device, settings);
  if (const auto* serial = std::get_if<SerialSettings>(&settings.way)) {
    check_port(device, *serial, findings);
    if (device.identity && asked_way_of(device) == &settings) findings.push_back(answer_of(device));
  }
  if (const auto* mqtt = std::get_if<MqttSettings>(&settings.way)) {
    findings.push_back(check_broker(fmt::format("broker of \"{}\"", device.name), mqtt->broker,
                                    mqtt->topic, mqtt->qos));
  }
  return findings;
}

std::vector<Finding> check_safely(const Device& device, const ListenerSettings& settings) {
  try {
    return check_way(device, settings);
  } catch (const PortFault& fault) {
    return {
        {State::bad, fmt::format("port of \"{}\"", device.name), fault.found(), fault.remedy()}};
  } catch (const base::RigFault& fault) {
    return {{State::bad, fmt::format("{} of \"{}\"", settings.name, device.name), fault.what(),
             "check [[device.listener]] in the rig file, and who else holds it"}};
  } catch (const base::InputError& error) {
    return {{State::bad, fmt::format("{} of \"{}\"", settings.name, device.name), error.what(),
             "mend the file or the environment that the rig file names"}};
  }
}

}  // namespace

Finding check_publish(const PublishSettings& publish) {
  // Nothing is read there and nothing is to be said yet: leave to publish is only asked by a run.
  return check_broker("broker of [publish]", publish.broker, "", 0);
}

Finding check_post(const PostSettings& post) {
  constexpr base::Duration patience = std::chrono::seconds{3};
  const std::string subject = fmt::format("[post] to {}:{}", post.host, post.port);
  try {
    if (post.token) (void)read_secret(*post.token);
  } catch (const base::InputError& error) {
    return {State::bad, subject, error.what(), "mend the file or the environment it names"};
  }
  const Reached reached = reach(post.host, post.port, Addresses::any, patience);
  if (reached.complaint.empty()) return {State::good, subject, "reached at " + reached.address};
  return {State::warning, subject, reached.complaint,
          "see that it listens there; a summary that can't be posted waits for the next run"};
}

std::vector<Finding> check_listeners(const Device& device) {
  std::vector<Finding> findings;
  for (const ListenerSettings& settings : device.listeners) {
    for (Finding& finding : check_safely(device, settings)) findings.push_back(std::move(finding));
  }
  return findings;
}

}  // namespace plexor::rig
