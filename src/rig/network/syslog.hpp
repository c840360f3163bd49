#pragma once

#include <cstddef>
#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <string_view>

namespace plexor::rig {

/// What a syslog message (RFC 5424) says: its MSG, without byte order mark and line end; empty
/// if it has none. Nothing if it is no such message. What a timestamp says is not looked at.
[[nodiscard]] std::optional<std::string_view> syslog_text(std::string_view message);

/// Takes syslog messages out of what comes over a connection (RFC 6587). Each is either counted,
/// "5 <13>1", or ends with its line; which of both is told apart for each anew. Whatever comes
/// is borne: a message that is too long is dropped whole, and counted.
class SyslogFramer {
 public:
  static constexpr std::size_t longest_message = 2048;  ///< RFC 5424, 6.1: SHOULD be accepted
  /// A count beyond this is no count.
  static constexpr std::size_t longest_count = 1'000'000;

  /// `take` is given each whole message, without its count or line end; empty ones are none.
  explicit SyslogFramer(std::function<void(std::string_view)> take) : take_(std::move(take)) {}

  /// False: where the next message begins can't be known any more, and nothing is taken.
  [[nodiscard]] bool feed(std::string_view bytes);
  [[nodiscard]] std::size_t dropped() const { return dropped_; }
  /// A message has begun and not ended.
  [[nodiscard]] bool is_within() const { return part_ != Part::begin; }

 private:
  enum class Part : std::uint8_t { begin, count, counted, line, lost };

  /// Each takes some of the bytes, and says how many.
  std::size_t begin(std::string_view bytes);
  std::size_t read_count(std::string_view bytes);
  std::size_t read_counted(std::string_view bytes);
  std::size_t read_line(std::string_view bytes);
  void keep(std::string_view bytes);
  void finish();

  std::function<void(std::string_view)> take_;
  Part part_ = Part::begin;
  std::size_t left_ = 0;  ///< the count so far; then what has not come of a counted message
  std::string message_;
  bool too_long_ = false;
  std::size_t dropped_ = 0;
};

}  // namespace plexor::rig
