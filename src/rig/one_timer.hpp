#pragma once

#include <boost/asio/steady_timer.hpp>
#include <cstdint>
#include <utility>

#include "base/time.hpp"

namespace plexor::rig {

/// A timer for one thing at a time: what is begun later goes before.
class OneTimer {
 public:
  explicit OneTimer(boost::asio::io_context& context) : timer_(context) {}

  template <typename Deed>
  void after(base::Duration wait, Deed deed) {
    // Cancelling does not reach a deed that is due already: its turn is over all the same.
    timer_.expires_after(wait);
    is_set_ = true;
    timer_.async_wait(
        [this, deed = std::move(deed), turn = ++turn_](const boost::system::error_code& error) {
          if (error || turn != turn_) return;
          is_set_ = false;
          deed();
        });
  }
  void cancel() {
    ++turn_;
    is_set_ = false;
    timer_.cancel();
  }
  [[nodiscard]] bool is_set() const { return is_set_; }

 private:
  boost::asio::steady_timer timer_;
  std::uint64_t turn_ = 0;  ///< what belongs to an older one is not done
  bool is_set_ = false;
};

}  // namespace plexor::rig
