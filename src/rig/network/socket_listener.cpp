#include "rig/network/socket_listener.hpp"

#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/udp.hpp>
#include <utility>

#include "rig/network/receive_stamp.hpp"

namespace plexor::rig {

namespace {

/// What the kernel grants to one socket it grants to the next.
bool kernel_stamps() {
  boost::asio::io_context context;
  boost::asio::ip::udp::socket socket(context);
  boost::system::error_code error;
  socket.open(boost::asio::ip::udp::v4(), error);
  if (error) socket.open(boost::asio::ip::udp::v6(), error);
  return !error && ask_for_stamps(socket.native_handle());
}

}  // namespace

SocketListener::SocketListener(std::string device, const SocketSettings& settings, Hearers hearers,
                               std::shared_ptr<SocketServer> server, const SocketLimits& limits)
    : ear_(std::move(device), settings, std::move(hearers)), server_(std::move(server)) {
  if (server_) {
    server_->add(ear_);
  } else {
    client_ = SocketClient::go(ear_, limits);
  }
}

SocketListener::~SocketListener() {
  if (server_) server_->remove(ear_);
}

base::Duration SocketListener::arrival_width() const {
  return stamp_width(server_ ? server_->is_stamped() : kernel_stamps());
}

}  // namespace plexor::rig
