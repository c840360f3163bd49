#include "rig/network/name_lookup.hpp"

#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/post.hpp>
#include <mutex>
#include <system_error>
#include <thread>
#include <utility>

namespace plexor::rig {

namespace asio = boost::asio;

/// Where a look-up leaves what it found. Stays until both sides have left.
struct NameLookup::Desk {
  std::mutex mutex;
  asio::io_context* context = nullptr;  ///< nothing: nobody asks any more
};

NameLookup::NameLookup(asio::io_context& context) : desk_(std::make_shared<Desk>()) {
  desk_->context = &context;
}

NameLookup::~NameLookup() {
  const std::scoped_lock lock(desk_->mutex);
  desk_->context = nullptr;
}

void NameLookup::look_up(const std::string& host, Found found) {
  const auto look = [desk = desk_, host, found = std::move(found)] {
    asio::io_context own;
    asio::ip::tcp::resolver resolver(own);
    boost::system::error_code error;
    Addresses addresses;
    for (const auto& entry : resolver.resolve(host, "", error)) {
      addresses.push_back(entry.endpoint().address());
    }
    if (!error && addresses.empty()) error = asio::error::host_not_found;
    const std::scoped_lock lock(desk->mutex);
    if (desk->context == nullptr) return;
    asio::post(*desk->context, [found, error, addresses] { found(error, addresses); });
  };
  boost::system::error_code no_address;
  (void)asio::ip::make_address(host, no_address);
  if (!no_address) return look();
  std::thread(look).detach();
}

}  // namespace plexor::rig
