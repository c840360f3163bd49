#pragma once

#include <functional>
#include <string_view>
#include <variant>

#include "rig/line_assembler.hpp"
#include "rig/listener_settings.hpp"
#include "rig/network/syslog.hpp"

namespace plexor::rig {

/// The longest line over a socket, in bytes.
inline constexpr std::size_t longest_socket_line = 4096;

/// The longest message of a framing, in bytes.
[[nodiscard]] std::size_t longest_message(Framing framing);

/// Takes the messages out of what comes over a connection, however it is cut into pieces. What
/// is too long is dropped.
class Framer {
 public:
  /// `take` is given each message as it is wrapped: a line, or a whole syslog message.
  Framer(Framing framing, std::function<void(std::string_view)> take);

  /// False: it can't be read any further.
  [[nodiscard]] bool feed(std::string_view bytes);
  /// How many messages were too long.
  [[nodiscard]] std::size_t dropped() const;
  /// A message has begun and not ended.
  [[nodiscard]] bool is_within() const;

 private:
  std::variant<LineAssembler, SyslogFramer> framer_;
};

/// The same for a datagram, which is whole: its last line need not end. How many messages
/// were too long.
std::size_t split_datagram(Framing framing, std::string_view datagram,
                           const std::function<void(std::string_view)>& take);

}  // namespace plexor::rig
