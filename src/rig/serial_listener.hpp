#pragma once

#include <memory>
#include <optional>
#include <string>

#include "rig/listener.hpp"
#include "rig/listener_settings.hpp"

namespace plexor::rig {

/// Listens on a serial port or another terminal. Each line is stamped as soon as
/// its last byte was read. Whatever comes is borne: what is too long, no text, or
/// too much (see RateCap) is dropped and said.
class SerialListener final : public Listener {
 public:
  /// `device`: its name, for people and for the pattern's group. Throws PortFault.
  SerialListener(std::string device, const SerialSettings& settings,
                 const std::optional<IdentitySettings>& identity, Hearers hearers);
  ~SerialListener() override;
  SerialListener(const SerialListener&) = delete;
  SerialListener& operator=(const SerialListener&) = delete;

  [[nodiscard]] std::optional<std::string> version(base::Duration patience) override;
  [[nodiscard]] base::Duration arrival_width() const override;

 private:
  class Ear;
  std::unique_ptr<Ear> ear_;
};

}  // namespace plexor::rig
