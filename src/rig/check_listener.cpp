#include "rig/check_listener.hpp"

#include <fmt/format.h>

#include "rig/listener.hpp"
#include "rig/network/mqtt_client.hpp"
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
    const std::string found = fmt::format("{}, round trip {:.1f} ms{}", address, base::to_ms(trip),
                                          broker.tls ? ", TLS" : ", not encrypted");
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
  const auto listener = listening.listen(
      device, settings,
      {.report = [](const Report&) {}, .state = [](bool, lines::KernelInstant) {}});
  return {{State::good, fmt::format("line of \"{}\"", device.name),
           fmt::format("line {} of {}, free", line.wire.offset, line.chip)}};
}

std::vector<Finding> check_way(const Device& device, const ListenerSettings& settings) {
  std::vector<Finding> findings;
  if (std::holds_alternative<LineSettings>(settings.way)) return check_line(device, settings);
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
  }
}

}  // namespace

Finding check_publish(const PublishSettings& publish) {
  // Its own state: there may be an old one there, and nothing else needs leave to be read.
  return check_broker("broker of [publish]", publish.broker, publish.topic + "/state", 0);
}

std::vector<Finding> check_listeners(const Device& device) {
  std::vector<Finding> findings;
  for (const ListenerSettings& settings : device.listeners) {
    for (Finding& finding : check_safely(device, settings)) findings.push_back(std::move(finding));
  }
  return findings;
}

}  // namespace plexor::rig
