#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "rig/rig_file.hpp"

namespace plexor::rig {

/// Which devices can be heard now, by which of their listeners. At first all can.
class Hearing {
 public:
  /// `devices` must outlive it. In virtual time a device has no listener of its own, and is heard
  /// by one all the same.
  explicit Hearing(const std::vector<Device>& devices);

  /// Throws std::out_of_range for a device or listener that does not exist.
  void set(std::uint32_t device, std::uint32_t listener, bool up);
  [[nodiscard]] bool is_complete() const;
  /// "panel, door by broker": who can't be heard; empty if all can.
  [[nodiscard]] std::string missing() const;
  void for_each_missing(
      const std::function<void(std::uint32_t device, std::uint32_t listener)>& deed) const;

 private:
  const std::vector<Device>& devices_;
  std::vector<std::vector<bool>> up_;  ///< by device and listener
};

/// Of each device, how many listeners hear it.
[[nodiscard]] std::vector<std::uint32_t> listeners_of(const std::vector<Device>& devices);

}  // namespace plexor::rig
