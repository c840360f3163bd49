#include <fmt/format.h>

#include <algorithm>

#include "rig/report_reader.hpp"
#include "virtual/parse_parts.hpp"
#include "virtual/voices/voice.hpp"

namespace plexor::virtual_rig {

namespace {

using base::TableReader;

/// One line as it goes over the wire.
std::string spoken_line(TableReader& in, const std::string& key) {
  constexpr std::size_t longest = 200;
  std::string text = in.text(key);
  if (text.empty() || text.size() > longest || text.find('\n') != std::string::npos) {
    in.fail(key, fmt::format("a text of {} bytes", text.size()),
            fmt::format("one line of 1 to {} bytes", longest));
  }
  return text;
}

/// A device that the rig file does not understand would miss everything.
void check_is_heard(TableReader& in, const VoiceSettings& voice, const rig::Device& device,
                    const rig::ListenerSettings& listener) {
  const rig::ReportFormat* format = listener.format();
  if (format == nullptr) return;
  const std::string line = spoken(voice.says, device.name, "call", {});
  const auto reading = rig::ReportReader(*format).read(line);
  if (reading && reading->event == "call") return;
  in.fail("says", fmt::format("a device that says \"{:.80}\" for the event \"call\"", line),
          fmt::format("what the listener \"{}\" of \"{}\" reads as that event", listener.name,
                      device.name));
}

void check_is_plugged_in(TableReader& in, const rig::ListenerSettings& listener) {
  const auto* serial = std::get_if<rig::SerialSettings>(&listener.way);
  if (serial == nullptr || !serial->port.empty()) return;
  in.fail("model", "a device at a USB identity", "one with a \"port\"",
          "give [[device.listener]] a path: a simulated device is not plugged in");
}

/// Where the device publishes: the listener's own topic, unless that has wildcards.
std::string topic_of(TableReader& in, const rig::ListenerSettings& listener) {
  const auto* mqtt = std::get_if<rig::MqttSettings>(&listener.way);
  if (mqtt == nullptr) return {};
  std::string topic = in.text_or("topic", mqtt->topic);
  if (topic.find_first_of("+#") == std::string::npos) return topic;
  in.fail("topic", fmt::format("\"{:.60}\"", topic), "a topic without wildcards");
}

VoiceSettings read_voice(TableReader& in, const rig::Device& device,
                         const rig::ListenerSettings& listener, const VoiceSettings& usual) {
  VoiceSettings voice = usual;
  if (in.has("says")) voice.says = spoken_line(in, "says");
  voice.topic = topic_of(in, listener);
  if (in.has("delay_ms")) {
    const auto bounds = in.durations("delay_ms", {0.0, 60'000.0});
    if (bounds.size() > 2 || bounds.front() > bounds.back()) {
      in.fail("delay_ms", "no range", "one number, or two with the shorter first");
    }
    voice.shortest_delay = bounds.front();
    voice.longest_delay = bounds.back();
  }
  check_is_plugged_in(in, listener);
  check_is_heard(in, voice, device, listener);
  return voice;
}

std::vector<VoiceSettings> read_voices(TableReader& in, const rig::Device& device) {
  VoiceSettings usual;
  if (in.has("says")) usual.says = spoken_line(in, "says");
  std::vector<TableReader> tables = in.tables("voice");
  if (!tables.empty() && tables.size() != device.listeners.size()) {
    in.fail("voice", fmt::format("{} voices", tables.size()),
            fmt::format("none, or one for each of the {} listeners of \"{}\", in their order",
                        device.listeners.size(), device.name));
  }
  std::vector<VoiceSettings> voices;
  for (std::size_t i = 0; i < device.listeners.size(); ++i) {
    TableReader& table = tables.empty() ? in : tables[i];
    voices.push_back(read_voice(table, device, device.listeners[i], usual));
    if (!tables.empty()) table.finish();
  }
  return voices;
}

}  // namespace

SpeechSettings read_speech(TableReader& in, const rig::Device& device) {
  SpeechSettings speech;
  speech.voices = read_voices(in, device);
  if (in.has("banner")) speech.banner = spoken_line(in, "banner");
  speech.boot = in.duration_or("boot_silence_ms", {0.0, 60'000.0}, speech.boot);
  for (TableReader& entry : in.tables("answers")) {
    speech.answers.emplace_back(spoken_line(entry, "query"), spoken_line(entry, "reply"));
    entry.finish();
  }
  return speech;
}

}  // namespace plexor::virtual_rig
