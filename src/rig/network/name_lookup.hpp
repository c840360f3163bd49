#pragma once

#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/address.hpp>
#include <boost/system/error_code.hpp>
#include <functional>
#include <memory>
#include <string>
#include <vector>

namespace plexor::rig {

/// Looks up the addresses of a name, on a thread of its own that nobody waits for: the
/// system's look-up can take half a minute and can't be ended, neither here nor in Asio's resolver.
class NameLookup {
 public:
  using Addresses = std::vector<boost::asio::ip::address>;
  using Found = std::function<void(const boost::system::error_code&, const Addresses&)>;

  /// Of a name or an address, in the system's order; waits for it.
  [[nodiscard]] static Addresses addresses_of(const std::string& host,
                                              boost::system::error_code& error);

  /// What is found is told on the context, which must outlive this.
  explicit NameLookup(boost::asio::io_context& context);
  /// Nothing is told any more.
  ~NameLookup();
  NameLookup(const NameLookup&) = delete;
  NameLookup& operator=(const NameLookup&) = delete;

  /// One at a time: the last must have been told.
  void look_up(const std::string& host, Found found);

 private:
  struct Desk;
  std::shared_ptr<Desk> desk_;
};

}  // namespace plexor::rig
