#pragma once

#include <memory>
#include <string>

#include "rig/listener.hpp"

namespace plexor::rig {

/// Hears a device that publishes to a broker. It can be heard while the broker grants the
/// subscription. A message that the broker had kept (retained) is old, and no event; one
/// that comes once more is told by its id, where it has one.
class MqttListener final : public Listener {
 public:
  /// `device`: its name, for people and for the format's device. Throws base::InputError for a
  /// password or certificate that can't be used.
  MqttListener(std::string device, const MqttSettings& settings, Hearers hearers);
  ~MqttListener() override;
  MqttListener(const MqttListener&) = delete;
  MqttListener& operator=(const MqttListener&) = delete;

  [[nodiscard]] base::Duration arrival_width() const override;

 private:
  class Ear;
  std::unique_ptr<Ear> ear_;
};

}  // namespace plexor::rig
