#include <fmt/format.h>

#include <algorithm>

#include "rig/report_pattern.hpp"
#include "virtual/parse_parts.hpp"
#include "virtual/voice.hpp"

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

/// A device that the rig file's pattern does not understand would miss everything.
void check_is_heard(TableReader& in, const VoiceSettings& voice, const rig::Device& device) {
  const auto* serial = std::get_if<rig::SerialSettings>(&*device.listener);
  if (serial == nullptr) return;
  if (!serial->usb && !serial->port.empty()) {
    const std::string line = spoken(voice.says, device.name, "call", {});
    const auto reading = rig::ReportPattern(serial->pattern).read(line);
    if (reading && reading->event == "call") return;
    in.fail("says", fmt::format("a device that says \"{:.80}\" for the event \"call\"", line),
            fmt::format("what the \"pattern\" of \"{}\" reads as that event", device.name));
  }
  in.fail("model", "a device at a USB identity", "one with a \"port\"",
          "give [[device.listener]] a path: a simulated device is not plugged in");
}

}  // namespace

VoiceSettings read_voice(TableReader& in, const rig::Device& device) {
  VoiceSettings voice;
  if (in.has("says")) voice.says = spoken_line(in, "says");
  if (in.has("banner")) voice.banner = spoken_line(in, "banner");
  voice.boot = in.duration_or("boot_silence_ms", {0.0, 60'000.0}, voice.boot);
  for (TableReader& entry : in.tables("answers")) {
    voice.answers.emplace_back(spoken_line(entry, "query"), spoken_line(entry, "reply"));
    entry.finish();
  }
  check_is_heard(in, voice, device);
  return voice;
}

}  // namespace plexor::virtual_rig
