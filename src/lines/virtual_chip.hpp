#pragma once

#include <array>
#include <atomic>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>

#include "lines/lines.hpp"

namespace plexor::lines {

/// A change of a line's voltage, whoever made it.
struct Change {
  std::uint32_t offset = 0;
  bool high = false;
  KernelInstant at;
  std::uint64_t number = 0;  ///< counts all changes of the chip from 1
};

/// A chip of lines in shared memory, for rigs without hardware: processes on one
/// host hold its lines as they would hold a GPIO chip's, and another one plays
/// the outside. Physical levels: high and low.
///
/// As with real lines, an output keeps its last level when its owner dies, and
/// what is not held may be taken.
class VirtualChip {
 public:
  static constexpr std::uint32_t line_count = 32;

  /// Makes a new chip; the file must not exist. All lines low, none held.
  [[nodiscard]] static VirtualChip create(const std::string& file);
  /// Joins a chip that another process made. Both throw base::RigFault.
  [[nodiscard]] static VirtualChip open(const std::string& file);

  /// The outside drives a line that is not an output of its owner's.
  void drive(std::uint32_t offset, bool high);
  /// The same for a change that happened at `at`, not later than now, and is only shown now.
  void drive(std::uint32_t offset, bool high, KernelInstant at);
  [[nodiscard]] bool is_high(std::uint32_t offset) const;
  /// Somebody holds it as an output. Says nothing about whether he lives.
  [[nodiscard]] bool is_driven_by_owner(std::uint32_t offset) const;

  // For owners (virtual_lines.cpp).

  /// Throws base::RigFault if the chip has no such line.
  void require_line(std::uint32_t offset) const;
  /// Makes this process the owner; nothing, or the process id that holds it already.
  [[nodiscard]] std::optional<int> take(std::uint32_t offset, Direction direction);
  void let_go(std::uint32_t offset);
  void set_high(std::uint32_t offset, bool high);

  // Changes, for everybody.

  /// The number of the newest change.
  [[nodiscard]] std::uint64_t newest_change() const;
  /// The oldest change after number `after` that is still kept. Waits until `deadline`.
  [[nodiscard]] std::optional<Change> next_change(std::uint64_t after,
                                                  KernelInstant deadline) const;

  [[nodiscard]] const std::string& file() const { return file_; }

 private:
  struct Segment;
  VirtualChip(std::string file, std::shared_ptr<Segment> segment);
  [[nodiscard]] std::optional<Change> kept_change(std::uint64_t number) const;
  [[nodiscard]] std::optional<Change> oldest_after(std::uint64_t after) const;
  void record(std::uint32_t offset, bool high, KernelInstant at);

  std::string file_;
  std::shared_ptr<Segment> segment_;
};

}  // namespace plexor::lines
