#pragma once

#include <cstdint>
#include <deque>
#include <optional>
#include <string>
#include <string_view>

#include "rig/hearers.hpp"
#include "rig/line_sorter.hpp"
#include "rig/listener_settings.hpp"
#include "rig/rate_cap.hpp"

namespace plexor::rig {

/// What every listener does with what its device sends, from raw messages to what its
/// hearers are told. Whatever comes is borne: what is no text is made printable, what is
/// too much is dropped and said. For one thread at a time.
class Intake {
 public:
  /// What became of a message.
  enum class Taken : std::uint8_t {
    told,      ///< as a report
    repeated,  ///< its id was heard before
    dropped,   ///< too many in too short a time
    foreign,   ///< another device's
    other,     ///< no report
  };

  /// `device`: its name, for people and for the pattern's group.
  Intake(std::string device, const ReportFormat& format, Hearers hearers,
         const std::optional<IdentitySettings>& identity = {});
  /// Says how many reports were dropped.
  ~Intake();
  Intake(const Intake&) = delete;
  Intake& operator=(const Intake&) = delete;

  /// Shows a message to who hears every line, and tells what it is. A report is not told yet.
  [[nodiscard]] LineSorter::Sorted sort(std::string_view message, lines::KernelInstant arrived,
                                        Encoding encoding = Encoding::plain);
  /// Tells a report, if it is none once more and not too many. Reports are told in the order in
  /// which they were taken: stamps that differ by a clock's reading must not swap them.
  Taken tell(LineReading reading, lines::KernelInstant arrived);
  /// Both at once, where there are only reports.
  Taken take(std::string_view message, lines::KernelInstant arrived,
             Encoding encoding = Encoding::plain);

  /// Tells whether the device can be heard. False if that was so already.
  bool tell_state(bool up, lines::KernelInstant at);
  /// For people: "device "panel": text".
  void remark(const std::string& text) const;
  /// The same about messages of more than so many bytes, once.
  void remark_overlong(std::size_t most_bytes, const std::string& hint = {});

 private:
  [[nodiscard]] bool is_told(const std::string& id, lines::KernelInstant now);
  void keep_as_told(const std::string& id, lines::KernelInstant now);
  [[nodiscard]] lines::KernelInstant in_order(lines::KernelInstant arrived) const;
  void remark_unmatched(const std::string& line) const;

  std::string device_;
  Hearers hearers_;
  LineSorter sorter_;
  RateCap reports_;
  RateCap lines_;
  lines::KernelInstant last_arrival_;
  struct Told {
    std::string id;
    lines::KernelInstant at;
  };
  std::deque<Told> last_told_;  ///< what was dropped may come again
  bool repeat_told_ = false;
  bool up_ = true;  ///< as told
  bool overlong_told_ = false;
};

}  // namespace plexor::rig
