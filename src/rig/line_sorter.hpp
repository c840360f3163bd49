#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <utility>

#include "rig/listener_settings.hpp"
#include "rig/report_reader.hpp"

namespace plexor::rig {

/// Tells apart what the messages of a device are.
class LineSorter {
 public:
  enum class Kind : std::uint8_t {
    report,
    answer,   ///< of the device, asked who it is
    banner,   ///< the device has started anew
    foreign,  ///< another device's, on the same way
    other,    ///< matches nothing
  };
  struct Sorted {
    Kind kind = Kind::other;
    LineReading reading{};  ///< of a report
    std::string version{};  ///< in an answer
  };
  /// So many lines without one that matches: the pattern is not this device's.
  static constexpr std::uint32_t enough_lines = 20;

  LineSorter(std::string device, const ReportFormat& format,
             const std::optional<IdentitySettings>& identity);

  /// `message` as it came.
  [[nodiscard]] Sorted sort(std::string_view message, Encoding encoding = Encoding::plain);
  /// True once: none of the first lines matched anything.
  [[nodiscard]] bool has_matched_nothing() {
    return unmatched_ == enough_lines && !std::exchange(told_, true);
  }

 private:
  [[nodiscard]] Sorted kind_of(std::string_view message, Encoding encoding) const;

  std::string device_;
  ReportReader report_;
  std::optional<LinePattern> answer_;
  std::optional<LinePattern> banner_;
  std::uint32_t unmatched_ = 0;  ///< of the first lines; no more are counted once one has matched
  bool has_matched_ = false;
  bool told_ = false;
};

}  // namespace plexor::rig
