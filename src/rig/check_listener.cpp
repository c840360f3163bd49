#include "rig/check_listener.hpp"

#include <fmt/format.h>

#include "rig/listener.hpp"
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

std::vector<Finding> check_line(const Device& device, const LineSettings& settings) {
  const auto listener = make_listener(
      device, {.report = [](const Report&) {}, .state = [](bool, lines::KernelInstant) {}});
  return {{State::good, fmt::format("line of \"{}\"", device.name),
           fmt::format("line {} of {}, free", settings.wire.offset, settings.chip)}};
}

}  // namespace

std::vector<Finding> check_listener(const Device& device) {
  std::vector<Finding> findings;
  try {
    if (const auto* line = std::get_if<LineSettings>(&*device.listener)) {
      return check_line(device, *line);
    }
    check_port(device, std::get<SerialSettings>(*device.listener), findings);
    if (device.identity) findings.push_back(answer_of(device));
  } catch (const PortFault& fault) {
    findings.push_back(
        {State::bad, fmt::format("port of \"{}\"", device.name), fault.found(), fault.remedy()});
  } catch (const base::RigFault& fault) {
    findings.push_back({State::bad, fmt::format("line of \"{}\"", device.name), fault.what(),
                        "check [[device.listener]] in the rig file, and who else holds the line"});
  }
  return findings;
}

}  // namespace plexor::rig
