#pragma once

#include <cstdint>
#include <string>

namespace plexor {

/// A GPIO chip that the kernel simulates (gpio-sim), from the outside. In the
/// guest only: it needs configfs and sysfs, and root.
class SimulatedChip {
 public:
  static constexpr std::uint32_t line_count = 16;

  /// A new chip; every line is pulled down.
  SimulatedChip();
  /// Its lines must have been let go.
  ~SimulatedChip();
  SimulatedChip(const SimulatedChip&) = delete;
  SimulatedChip& operator=(const SimulatedChip&) = delete;

  /// As programs open it: /dev/gpiochip0.
  [[nodiscard]] const std::string& device() const { return device_; }
  /// The number that the kernel's trace gives to its first line.
  [[nodiscard]] std::uint32_t first_number() const { return first_number_; }

  /// Pulls a line up or down: what an input then reads.
  void pull(std::uint32_t offset, bool high);
  /// The line's level. Of an output that was let go, only what it is pulled to.
  [[nodiscard]] bool is_high(std::uint32_t offset) const;

 private:
  [[nodiscard]] std::string line_file(std::uint32_t offset, const std::string& what) const;

  std::string config_;   ///< its folder in configfs
  std::string control_;  ///< its folder in sysfs
  std::string device_;
  std::uint32_t first_number_ = 0;
};

}  // namespace plexor
