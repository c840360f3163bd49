#include "rig/network/name_lookup.hpp"

#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/post.hpp>
#include <mutex>
#include <thread>
#include <utility>

namespace plexor::rig {

namespace asio = boost::asio;
using boost::system::error_code;

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

NameLookup::Addresses NameLookup::addresses_of(const std::string& host, error_code& error) {
  const auto address = asio::ip::make_address(host, error);
  if (!error) return {address};
  asio::io_context context;
  asio::ip::tcp::resolver resolver(context);
  Addresses addresses;
  for (const auto& entry : resolver.resolve(host, "", error)) {
    addresses.push_back(entry.endpoint().address());
  }
  if (!error && addresses.empty()) error = asio::error::host_not_found;
  return addresses;
}

void NameLookup::look_up(const std::string& host, Found found) {
  error_code no_address;
  const auto address = asio::ip::make_address(host, no_address);
  if (!no_address) {
    asio::post(*desk_->context, [found, address] { found({}, {address}); });
    return;
  }
  std::thread([desk = desk_, host, found = std::move(found)] {
    error_code error;
    const Addresses addresses = addresses_of(host, error);
    const std::scoped_lock lock(desk->mutex);
    if (desk->context == nullptr) return;
    asio::post(*desk->context, [found, error, addresses] { found(error, addresses); });
  }).detach();
}

}  // namespace plexor::rig
