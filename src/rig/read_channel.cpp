#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "rig/read_parts.hpp"

namespace plexor::rig {

namespace {

using base::TableReader;

constexpr std::size_t most_channels = 16;
constexpr std::int64_t nanoseconds_per_second = 1'000'000'000;

std::uint32_t device_named(TableReader& entry, const std::vector<Device>& devices) {
  const std::string name = line_of_text(entry, "device", longest_name);
  const auto found = std::find_if(devices.begin(), devices.end(),
                                  [&](const Device& device) { return device.name == name; });
  if (found == devices.end()) {
    entry.fail("device", fmt::format("the unknown device \"{}\"", name), "one of this file's");
  }
  return static_cast<std::uint32_t>(found - devices.begin());
}

/// Fewer bits than the shortest lines take can't carry them.
void refuse_slow_port(const TableReader& entry, const SerialSettings& port,
                      const Channel& channel) {
  const std::int64_t shortest = channel.source.line == SampleLine::value ? 2 : 4;  // "1\n", "1,1\n"
  const std::int64_t bits =
      1 + port.data_bits + (port.parity == Parity::none ? 0 : 1) + port.stop_bits;
  const std::int64_t needed = channel.rate_hz * shortest * bits;
  if (port.baud >= needed) return;
  entry.fail("baud", fmt::format("{} baud for {} lines a second", port.baud, channel.rate_hz),
             fmt::format("at least {} (the shortest line has {} bytes)", needed, shortest),
             "a quicker port, or fewer samples a second");
}

SampleSource read_source(TableReader& entry) {
  SampleSource source;
  if (entry.has("file")) {
    if (entry.has("port") || entry.has("usb")) {
      entry.fail("file", "a second place for the samples to come from",
                 "one of \"file\", \"port\" and \"usb\"");
    }
    source.way = SampleFile{line_of_text(entry, "file", longest_description)};
  } else if (entry.has("port") || entry.has("usb")) {
    source.way = read_serial_port(entry);
  } else {
    entry.fail("port", "nowhere for the samples to come from",
               "one of \"port\", \"usb\" and \"file\"", "rig/listeners.md says more");
  }
  source.line = entry.choice("line", {"value", "time_ms,value"}) == "value"
                    ? SampleLine::value
                    : SampleLine::time_and_value;
  return source;
}

Channel read_channel(TableReader& entry, const std::vector<Device>& devices, RigKind kind) {
  constexpr std::int64_t farthest_code = 1 << 24;
  Channel channel;
  channel.name = line_of_text(entry, "name", longest_name);
  if (entry.has("device")) channel.device = device_named(entry, devices);
  channel.rate_hz = entry.whole("rate_hz", 100, 200'000);
  if (nanoseconds_per_second % channel.rate_hz != 0) {
    entry.fail("rate_hz", fmt::format("the number {}", channel.rate_hz),
               "a rate whose period is a whole number of nanoseconds",
               "take 1000, 2000, 4000, 8000");
  }
  channel.lowest = static_cast<std::int32_t>(entry.whole("lowest", -farthest_code, farthest_code));
  channel.highest =
      static_cast<std::int32_t>(entry.whole("highest", -farthest_code, farthest_code));
  if (channel.highest <= channel.lowest) {
    entry.fail("highest", fmt::format("{} with lowest = {}", channel.highest, channel.lowest),
               "the codes at which the converter can say no more, the lower one first");
  }
  channel.unit = entry.has("unit") ? line_of_text(entry, "unit", longest_name) : "LSB";
  if (kind == RigKind::lines) {
    channel.source = read_source(entry);
    const auto* port = std::get_if<SerialSettings>(&channel.source.way);
    if (port != nullptr) refuse_slow_port(entry, *port, channel);
  }
  entry.finish();
  return channel;
}

}  // namespace

std::vector<Channel> read_channels(TableReader& file, const std::vector<Device>& devices,
                                   RigKind kind) {
  std::vector<Channel> channels;
  std::set<std::string> names;
  for (TableReader& entry : file.tables("channel")) {
    channels.push_back(read_channel(entry, devices, kind));
    if (!names.insert(channels.back().name).second) {
      entry.fail("name", fmt::format("a second channel \"{}\"", channels.back().name),
                 "a name of its own for each channel");
    }
  }
  if (channels.size() > most_channels) {
    file.fail("channel", fmt::format("{} channels", channels.size()),
              fmt::format("at most {} tables [[channel]]", most_channels));
  }
  return channels;
}

}  // namespace plexor::rig
