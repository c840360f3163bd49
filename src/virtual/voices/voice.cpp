#include "virtual/voices/voice.hpp"

#include <fmt/format.h>

#include <functional>
#include <string>
#include <utility>

#include "virtual/voices/voices.hpp"

namespace plexor::virtual_rig {

namespace {

using lines::KernelInstant;

void replace_all(std::string& text, const std::string& what, const std::string& by) {
  for (auto at = text.find(what); at != std::string::npos; at = text.find(what, at + by.size())) {
    text.replace(at, what.size(), by);
  }
}

/// All voices of one device.
class DeviceVoice final : public Voice {
 public:
  explicit DeviceVoice(std::vector<std::unique_ptr<Voice>> voices) : voices_(std::move(voices)) {}

  void plug_in() override { each(&Voice::plug_in); }
  void unplug() override { each(&Voice::unplug); }
  void report(const base::Event& event, KernelInstant now) override {
    each(&Voice::report, event, now);
  }
  void live(KernelInstant now) override { each(&Voice::live, now); }
  void reset(KernelInstant now) override { each(&Voice::reset, now); }
  void hang() override { each(&Voice::hang); }
  void wake() override { each(&Voice::wake); }
  void babble(KernelInstant now) override { each(&Voice::babble, now); }
  void utter_garbage() override { each(&Voice::utter_garbage); }

 private:
  template <typename Deed, typename... How>
  void each(Deed deed, const How&... how) {
    for (const auto& voice : voices_) std::invoke(deed, *voice, how...);
  }

  std::vector<std::unique_ptr<Voice>> voices_;
};

/// One way to speak for each kind of way to listen.
struct Make {
  Speaker speaker;
  const SpeechSettings& speech;
  const lines::VirtualChip& chip;

  std::unique_ptr<Voice> operator()(const rig::SerialSettings& serial) {
    return make_port_voice(std::move(speaker), serial, speech);
  }
  std::unique_ptr<Voice> operator()(const rig::LineSettings& line) {
    return make_line_voice(chip, line, speaker.boot);
  }
  std::unique_ptr<Voice> operator()(const rig::MqttSettings& mqtt) {
    return make_mqtt_voice(std::move(speaker), mqtt);
  }
  std::unique_ptr<Voice> operator()(const rig::SocketSettings& socket) {
    return make_socket_voice(std::move(speaker), socket);
  }
  std::unique_ptr<Voice> operator()(const rig::WebHookSettings& hook) {
    return make_web_hook_voice(std::move(speaker), hook);
  }
};

std::unique_ptr<Voice> make_device_voice(const rig::Device& device, const SpeechSettings& speech,
                                         const lines::VirtualChip& chip) {
  std::vector<std::unique_ptr<Voice>> voices;
  for (std::uint32_t listener = 0; listener < device.listeners.size(); ++listener) {
    Speaker speaker{device.name, listener, speech.voices.at(listener), speech.boot};
    voices.push_back(
        std::visit(Make{std::move(speaker), speech, chip}, device.listeners[listener].way));
  }
  return std::make_unique<DeviceVoice>(std::move(voices));
}

}  // namespace

std::string spoken(const std::string& says, const std::string& device, const std::string& event,
                   base::Duration device_time) {
  std::string line = says;
  replace_all(line, "{device}", device);
  replace_all(line, "{device_time_ms}", fmt::format("{:.0f}", base::to_ms(device_time)));
  replace_all(line, "{event}", event);
  return line;
}

std::vector<std::unique_ptr<Voice>> make_voices(const rig::RigFile& rig,
                                                const Simulation& simulation,
                                                const lines::VirtualChip& chip) {
  std::vector<std::unique_ptr<Voice>> voices;
  for (std::size_t i = 0; i < rig.devices.size(); ++i) {
    voices.push_back(make_device_voice(rig.devices[i], simulation.speech.at(i), chip));
  }
  return voices;
}

}  // namespace plexor::virtual_rig
