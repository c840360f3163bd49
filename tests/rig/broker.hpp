#pragma once

#include <sys/types.h>
#include <filesystem>
#include <string>

#include "rig/listener_settings.hpp"

namespace plexor::rig {

/// A broker of a test's own on the loopback: mosquitto, with certificates and a password
/// made for it. Ended with its owner.
class TestBroker {
 public:
  enum class Door {
    open,      ///< whoever comes
    password,  ///< user "panel" with the password of settings()
    tls,       ///< the same over TLS
    expired,   ///< the same, with a certificate that has expired
  };
  static constexpr const char* password = "kiln-1250";

  explicit TestBroker(Door door = Door::open);
  ~TestBroker();
  TestBroker(const TestBroker&) = delete;
  TestBroker& operator=(const TestBroker&) = delete;

  void start();
  void stop();
  void pause();  ///< it answers nothing any more
  void go_on();

  /// How to come in.
  [[nodiscard]] BrokerSettings settings() const;
  [[nodiscard]] std::string file(const std::string& name) const { return folder_ / name; }
  void write(const std::string& name, const std::string& text) const;

 private:
  std::filesystem::path folder_;
  Door door_;
  int kept_;  ///< a socket that keeps the port from being given to others
  std::uint16_t port_ = 0;
  pid_t pid_ = -1;
};

}  // namespace plexor::rig
