#include "rig/network/mqtt_listener.hpp"

#include <fmt/format.h>

#include <utility>

#include "rig/intake.hpp"
#include "rig/network/mqtt_client.hpp"

namespace plexor::rig {

/// Everything happens on the client's thread.
class MqttListener::Ear {
 public:
  Ear(std::string device, const MqttSettings& settings, Hearers hearers)
      : broker_(fmt::format("broker {}:{}", settings.broker.host, settings.broker.port)),
        intake_(std::move(device), settings.format, std::move(hearers)) {
    intake_.tell_state(false, lines::kernel_now());  // until it is connected
    client_ = std::make_unique<MqttClient>(
        MqttClient::Setting{
            .broker = settings.broker, .topic = settings.topic, .qos = settings.qos},
        MqttClient::Hearers{
            .message = [this](const MqttMessage& message,
                              ReceiveStamp stamp) { take(message, stamp); },
            .state = [this](bool up, lines::KernelInstant at) { intake_.tell_state(up, at); },
            .trouble =
                [this](const std::string& why) {
                  intake_.remark(fmt::format("{}: {}", broker_, why));
                }});
  }

  [[nodiscard]] base::Duration arrival_width() const {
    return stamp_width(client_->stamps_by_kernel());
  }

 private:
  void take(const MqttMessage& message, ReceiveStamp stamp) {
    if (message.retain) {
      if (!std::exchange(retained_told_, true)) {
        intake_.remark(
            fmt::format("the broker keeps an old message on \"{}\", which is no event "
                        "(the device should not ask to retain it)",
                        message.topic));
      }
      return;
    }
    if (message.payload.size() > MqttClient::longest_packet) {
      return intake_.remark_overlong(MqttClient::longest_packet);
    }
    intake_.take(message.payload, stamp.at);
  }

  std::string broker_;
  Intake intake_;
  bool retained_told_ = false;
  std::unique_ptr<MqttClient> client_;
};

MqttListener::MqttListener(std::string device, const MqttSettings& settings, Hearers hearers)
    : ear_(std::make_unique<Ear>(std::move(device), settings, std::move(hearers))) {}

MqttListener::~MqttListener() = default;

base::Duration MqttListener::arrival_width() const { return ear_->arrival_width(); }

}  // namespace plexor::rig
