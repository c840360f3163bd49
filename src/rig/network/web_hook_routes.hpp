#pragma once

#include <boost/asio/ip/address.hpp>
#include <cstdint>
#include <mutex>
#include <string>
#include <string_view>
#include <vector>

#include "rig/intake.hpp"
#include "rig/network/web_hook_server.hpp"
#include "rig/network/web_request.hpp"

namespace plexor::rig {

/// Which requests are whose. For use by several threads.
class WebHookRoutes {
 public:
  void add(const WebHookRoute& route);
  /// Once this returns, its intake is left alone.
  void remove(const Intake& intake);

  /// False if every route names its peers, and none this one: that is remarked.
  [[nodiscard]] bool may_come(const boost::asio::ip::address& peer);
  /// Zero, or the status with which a request is refused: 401, 403, 404, 405 or 415.
  [[nodiscard]] std::uint32_t refusal_of(const WebRequest& request,
                                         const boost::asio::ip::address& peer);
  /// Gives a message to every route whose it is: 204, 422, 429, or a refusal.
  [[nodiscard]] std::uint32_t take(const WebRequest& request, const boost::asio::ip::address& peer,
                                   lines::KernelInstant arrived);
  /// No new connection can be had, or again. Told to routes that are added meanwhile, too.
  void tell_down(const std::string& why);
  void tell_up();
  /// Somebody was not let in because so many with a right token are.
  void remark_crowd(std::size_t connections);

 private:
  struct Entry {
    WebHookRoute route;
    std::vector<boost::asio::ip::address> peers;
    bool stranger_told = false;
    bool token_told = false;
    bool shortage_told = false;

    [[nodiscard]] bool names(const boost::asio::ip::address& peer) const;
  };
  /// The routes whose a request is; else the status that says why there is none.
  struct Choice {
    std::vector<Entry*> entries;
    std::uint32_t refusal = 0;
  };
  [[nodiscard]] Choice choose(const WebRequest& request, const boost::asio::ip::address& peer);

  std::mutex mutex_;
  std::vector<Entry> entries_;
  bool up_ = true;
  bool crowd_told_ = false;
};

}  // namespace plexor::rig
