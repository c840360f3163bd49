#include "rig/network/socket_ear.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "rig/network/framer.hpp"

namespace plexor::rig {

namespace ip = boost::asio::ip;

namespace {

bool is_same(const ip::address& named, const ip::address& peer) {
  if (named == peer) return true;
  if (!named.is_v6() || !peer.is_v6() || named.to_v6().scope_id() != 0) return false;
  return named.to_v6().to_bytes() == peer.to_v6().to_bytes();
}

}  // namespace

ip::address plain_address(const ip::address& address) {
  if (!address.is_v6() || !address.to_v6().is_v4_mapped()) return address;
  return ip::make_address_v4(ip::v4_mapped, address.to_v6());
}

SocketEar::SocketEar(std::string device, SocketSettings settings, Hearers hearers)
    : settings_(std::move(settings)),
      intake_(std::move(device), settings_.format, std::move(hearers)) {
  for (const std::string& peer : settings_.peers) {
    peers_.push_back(plain_address(ip::make_address(peer)));
  }
}

SocketEar::~SocketEar() {
  if (lost_ != lost_told_) remark(fmt::format("the kernel dropped {} datagrams in all", lost_));
}

bool SocketEar::expects(const ip::address& peer) const {
  return std::any_of(peers_.begin(), peers_.end(),
                     [&](const ip::address& named) { return is_same(named, peer); });
}

void SocketEar::take(std::string_view message, lines::KernelInstant at) {
  if (settings_.framing == Framing::lines) {
    intake_.take(message, at);
    return;
  }
  const auto text = syslog_text(message);
  if (!text) return remark_once("sends what is no syslog message (RFC 5424), which is not counted");
  if (!text->empty()) intake_.take(*text, at);
}

void SocketEar::take_overlong() { intake_.remark_overlong(longest_message(settings_.framing)); }

void SocketEar::take_overlong_datagram(std::size_t most_bytes) {
  remark_once(fmt::format("sends datagrams of more than {} bytes, which are dropped", most_bytes));
}

void SocketEar::take_losses(const DatagramsLost& lost) {
  const bool is_first = lost_ == 0;
  lost_ += lost.datagrams;
  tell_state(false, lost.since);
  if (!is_first) return;
  lost_told_ = lost_;
  remark(
      fmt::format("the kernel dropped {} datagrams, which came faster than they are read; whether "
                  "the device's were among them nobody knows",
                  lost_));
}

void SocketEar::lose(lines::KernelInstant at) {
  there_since_.reset();
  tell_state(false, at);
}

bool SocketEar::settle(lines::KernelInstant now, base::Duration staying) {
  constexpr int trusted_comings = 3;
  if (!there_since_) {
    there_since_ = now;
    ++comings_;
  }
  const bool has_stayed = now - *there_since_ >= staying;
  if (has_stayed) comings_ = 0;
  if (comings_ <= trusted_comings) tell_state(true, now);
  return has_stayed;
}

void SocketEar::remark_once(const std::string& text) {
  constexpr std::size_t most = 32;
  if (told_.size() < most && told_.insert(text).second) remark(text);
}

}  // namespace plexor::rig
