#pragma once

#include <boost/asio/ip/address.hpp>
#include <cstdint>
#include <optional>
#include <set>
#include <string>
#include <string_view>

#include "rig/intake.hpp"
#include "rig/listener_settings.hpp"
#include "rig/network/receive.hpp"

namespace plexor::rig {

/// What is done with what one device sends over sockets. For one thread at a time.
class SocketEar {
 public:
  SocketEar(std::string device, SocketSettings settings, Hearers hearers);
  /// Says how much the kernel dropped.
  ~SocketEar();
  SocketEar(const SocketEar&) = delete;
  SocketEar& operator=(const SocketEar&) = delete;

  [[nodiscard]] const SocketSettings& settings() const { return settings_; }
  /// Whether the rig file names this peer. An IPv6 address without a zone means each zone.
  [[nodiscard]] bool expects(const boost::asio::ip::address& peer) const;

  /// A message as it is wrapped: see Framer.
  void take(std::string_view message, lines::KernelInstant at);
  /// Some messages were too long.
  void take_overlong();
  /// A datagram was longer than this.
  void take_overlong_datagram(std::size_t most_bytes);
  /// Datagrams were dropped, perhaps this device's: it was not heard. Somebody must tell
  /// when it can be heard again.
  void take_losses(const DatagramsLost& lost);

  bool tell_state(bool up, lines::KernelInstant at) { return intake_.tell_state(up, at); }
  /// It can't be heard since this instant.
  void lose(lines::KernelInstant at);
  /// It is there. Tells so at once; only one that comes and goes must have stayed for a while.
  /// False: it has not yet.
  bool settle(lines::KernelInstant now, base::Duration staying);
  void remark(const std::string& text) { intake_.remark(text); }
  /// `text` is one of a few.
  void remark_once(const std::string& text);

 private:
  SocketSettings settings_;
  std::vector<boost::asio::ip::address> peers_;
  Intake intake_;
  std::set<std::string> told_;
  std::uint32_t lost_ = 0;
  std::uint32_t lost_told_ = 0;
  std::optional<lines::KernelInstant> there_since_;
  int comings_ = 0;  ///< without having stayed
};

/// An IPv4 address that came in an IPv6 one, as itself.
[[nodiscard]] boost::asio::ip::address plain_address(const boost::asio::ip::address& address);

}  // namespace plexor::rig
