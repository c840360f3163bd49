#pragma once

#include <cstdint>
#include <string>

#include "base/time.hpp"

namespace plexor::virtual_rig {

/// The serial line from one device to the controller.
class Line {
 public:
  Line(std::int64_t baud, base::Duration poll, std::uint32_t device, std::uint64_t seed)
      : baud_(baud), poll_(poll), device_(device), seed_(seed) {}

  /// When the controller has the message "name\n" that the device began to send
  /// at `sent`: 10 bits a character (8N1), then uniformly up to one poll later.
  [[nodiscard]] base::Instant arrival(const std::string& name, base::Instant sent);

 private:
  std::int64_t baud_;
  base::Duration poll_;
  std::uint32_t device_;
  std::uint64_t seed_;
  std::uint32_t messages_ = 0;
};

}  // namespace plexor::virtual_rig
