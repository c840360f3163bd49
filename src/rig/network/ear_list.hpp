#pragma once

#include <boost/asio/ip/address.hpp>
#include <functional>
#include <mutex>
#include <set>
#include <vector>

#include "rig/network/socket_ear.hpp"

namespace plexor::rig {

/// The ears of one server. For all threads; an ear is told nothing any more once it is removed.
class EarList {
 public:
  using Address = boost::asio::ip::address;

  void add(SocketEar& ear);
  void remove(SocketEar& ear);

  [[nodiscard]] bool expects(const Address& peer) const;
  /// Does it with each, or with each that expects the peer.
  void for_each(const std::function<void(SocketEar&)>& deed);
  void for_each_of(const Address& peer, const std::function<void(SocketEar&)>& deed);
  /// Remarks one that nobody expects: each once, a few at most.
  void remark_stranger(const Address& peer);

 private:
  mutable std::mutex mutex_;
  std::vector<SocketEar*> ears_;
  std::set<Address> strangers_;
};

}  // namespace plexor::rig
