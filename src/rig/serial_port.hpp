#pragma once

#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "base/time.hpp"
#include "rig/listener_settings.hpp"

namespace plexor::rig {

/// A port that can't be had, in the parts that people need.
class PortFault : public base::RigFault {
 public:
  PortFault(const std::string& port, std::string found, std::string remedy)
      : RigFault("port " + port + ": " + found + "; " + remedy),
        found_(std::move(found)),
        remedy_(std::move(remedy)) {}
  [[nodiscard]] const std::string& found() const { return found_; }
  [[nodiscard]] const std::string& remedy() const { return remedy_; }

 private:
  std::string found_;
  std::string remedy_;
};

/// A serial port or another terminal, held by this process alone. Reading never blocks.
class SerialPort {
 public:
  /// Finds, opens, claims and sets it; what came before is dropped. Throws PortFault:
  /// missing, no permission, busy, no terminal, or a setting that it can't have.
  explicit SerialPort(const SerialSettings& settings);

  [[nodiscard]] int descriptor() const;
  [[nodiscard]] const std::string& path() const;  ///< where it was found
  /// How long a USB bridge keeps bytes back; 0 for what is none. Lowered to 1 ms if allowed.
  [[nodiscard]] base::Duration latency() const;

  /// As much as goes at once; the rest is lost, as it would be for a device that is off.
  void write(std::string_view bytes);
  /// Pulses the line that resets the device, and waits until that is done (100 ms).
  /// What has no such line is left alone.
  void reset(ResetLine line);

 private:
  struct Held;
  std::shared_ptr<Held> held_;
};

/// Processes other than this one that have a terminal open, or hold its lock: "picocom (process
/// 812)". Those of other users are seen by root alone.
[[nodiscard]] std::vector<std::string> holders_of(const std::string& path);

/// The serial ports of this computer with what is plugged in: "/dev/ttyUSB0 (1a86:7523)".
[[nodiscard]] std::vector<std::string> ports_here();

/// The latency timer of the USB bridge behind "ttyUSB0", set to 1 ms if it is
/// longer and this user may; nothing if it is no such bridge.
[[nodiscard]] std::optional<base::Duration> lower_latency_timer(
    const std::string& tty, const std::filesystem::path& bridges = "/sys/bus/usb-serial/devices");

}  // namespace plexor::rig
