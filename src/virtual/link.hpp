#pragma once

#include <cstdint>
#include <string>
#include <variant>

#include "base/time.hpp"
#include "virtual/simulation.hpp"

namespace plexor::virtual_rig {

/// The way of reports from one device to the controller.
class Link {
 public:
  Link(const std::variant<SerialLink, RadioLink>& settings, std::uint32_t device,
       std::uint64_t seed);

  /// When the controller has the message "name\n" that the device began to send at `sent`.
  /// Serial: 10 bits a character (8N1), then uniformly up to one poll later.
  /// Radio: at the first beacon after the overhead; where the beacons lie is drawn
  /// once for each device.
  [[nodiscard]] base::Instant arrival(const std::string& name, base::Instant sent);

 private:
  [[nodiscard]] base::Duration drawn_up_to(base::Duration longest);

  std::variant<SerialLink, RadioLink> settings_;
  std::uint32_t device_;
  std::uint64_t seed_;
  std::uint32_t draws_ = 0;
  base::Duration beacon_phase_{};
};

}  // namespace plexor::virtual_rig
