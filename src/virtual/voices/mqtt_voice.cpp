#include <utility>

#include "rig/network/mqtt_client.hpp"
#include "virtual/voices/voices.hpp"

namespace plexor::virtual_rig {

namespace {

class MqttVoice final : public TextVoice {
 public:
  MqttVoice(Speaker speaker, rig::MqttSettings mqtt)
      : TextVoice(std::move(speaker)), mqtt_(std::move(mqtt)) {
    plug_in();
  }

  void plug_in() override {
    client_ = std::make_unique<rig::MqttClient>(rig::MqttClient::Setting{.broker = mqtt_.broker},
                                                rig::MqttClient::Hearers{});
  }
  void unplug() override { client_.reset(); }

 private:
  void send(const std::string& text) override { publish(text); }
  std::size_t pour(std::string_view bytes) override {
    if (!client_ || client_->waiting() >= rig::MqttClient::longest_outbox) return 0;
    publish(bytes);
    return bytes.size();
  }

  void publish(std::string_view payload) {
    if (!client_) return;
    client_->publish(
        {.topic = speaker().voice.topic, .payload = std::string(payload), .qos = mqtt_.qos});
  }

  rig::MqttSettings mqtt_;
  std::unique_ptr<rig::MqttClient> client_;
};

}  // namespace

std::unique_ptr<Voice> make_mqtt_voice(Speaker speaker, const rig::MqttSettings& mqtt) {
  return std::make_unique<MqttVoice>(std::move(speaker), mqtt);
}

}  // namespace plexor::virtual_rig
