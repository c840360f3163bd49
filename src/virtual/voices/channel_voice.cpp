#include "virtual/voices/channel_voice.hpp"

#include <fmt/format.h>

#include <iterator>
#include <utility>

#include "base/error.hpp"

namespace plexor::virtual_rig {

void ChannelVoice::stream(const rig::SamplesHeard& samples) {
  const bool had_rest = !unsent_.empty();
  std::string text = std::exchange(unsent_, {});
  base::Instant at = samples.first;
  for (const std::int32_t value : samples.values) {
    if (line_ == rig::SampleLine::time_and_value) {
      fmt::format_to(std::back_inserter(text), "{:.3f},", base::to_ms(at.time_since_epoch()));
    }
    fmt::format_to(std::back_inserter(text), "{}\n", value);
    at += samples.period;
  }
  const std::size_t sent = port_.write(text);
  const bool is_within = sent > 0 ? text[sent - 1] != '\n' : had_rest;
  if (is_within) unsent_ = text.substr(sent, text.find('\n', sent) - sent + 1);
}

std::vector<std::unique_ptr<ChannelVoice>> make_channel_voices(const rig::RigFile& rig) {
  std::vector<std::unique_ptr<ChannelVoice>> voices;
  for (const rig::Channel& channel : rig.channels) {
    const auto* port = std::get_if<rig::SerialSettings>(&channel.source.way);
    if (port == nullptr || port->port.empty()) {
      throw base::RigFault(fmt::format(
          "channel \"{}\" can't be simulated: only one that comes by a \"port\" is served",
          channel.name));
    }
    voices.push_back(std::make_unique<ChannelVoice>(port->port, channel.source.line));
  }
  return voices;
}

}  // namespace plexor::virtual_rig
