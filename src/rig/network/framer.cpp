#include "rig/network/framer.hpp"

#include <utility>

namespace plexor::rig {

namespace {

using Taker = std::function<void(std::string_view)>;

std::variant<LineAssembler, SyslogFramer> framer_of(Framing framing, Taker take) {
  if (framing == Framing::syslog) return SyslogFramer(std::move(take));
  return LineAssembler(std::move(take), longest_socket_line);
}

}  // namespace

std::size_t longest_message(Framing framing) {
  return framing == Framing::syslog ? SyslogFramer::longest_message : longest_socket_line;
}

Framer::Framer(Framing framing, Taker take) : framer_(framer_of(framing, std::move(take))) {}

bool Framer::feed(std::string_view bytes) {
  if (auto* syslog = std::get_if<SyslogFramer>(&framer_)) return syslog->feed(bytes);
  std::get<LineAssembler>(framer_).feed(bytes);
  return true;
}

std::size_t Framer::dropped() const {
  return std::visit([](const auto& framer) { return framer.dropped(); }, framer_);
}

bool Framer::is_within() const {
  return std::visit([](const auto& framer) { return framer.is_within(); }, framer_);
}

std::size_t split_datagram(Framing framing, std::string_view datagram, const Taker& take) {
  if (framing == Framing::syslog) {
    if (datagram.size() > SyslogFramer::longest_message) return 1;
    if (!datagram.empty()) take(datagram);
    return 0;
  }
  LineAssembler lines(take, longest_socket_line);
  lines.feed(datagram);
  lines.feed("\n");
  return lines.dropped();
}

}  // namespace plexor::rig
