#include <fmt/format.h>

#include <map>
#include <string>

#include "rig/read_parts.hpp"

namespace plexor::rig {

namespace {

/// Devices that share a way are told apart by what their messages say.
bool may_share(const ListenerSettings& one, const ListenerSettings& other) {
  if (std::holds_alternative<SerialSettings>(one.way)) return false;
  const ReportFormat* format = one.format();
  const ReportFormat* other_format = other.format();
  return format != nullptr && other_format != nullptr && format->names_device() &&
         other_format->names_device();
}

}  // namespace

void refuse_shared_ways(const base::TableReader& file, const RigFile& rig) {
  struct Taker {
    const Device* device;
    const ListenerSettings* listener;
  };
  std::map<std::string, Taker> taken;
  for (const Device& device : rig.devices) {
    for (const ListenerSettings& listener : device.listeners) {
      const std::string place = place_of(listener.way);
      const auto [other, is_free] = taken.emplace(place, Taker{&device, &listener});
      if (is_free || place.empty()) continue;
      const bool is_other_device = other->second.device != &device;
      if (is_other_device && may_share(listener, *other->second.listener)) continue;
      file.fail("device",
                fmt::format("{} of \"{}\", which \"{}\" has already", place, device.name,
                            other->second.device->name),
                "a port, line, topic or path of its own for each",
                "or messages that say which device they are from: the group (?P<device>...) of "
                "\"pattern\", or \"device\" of \"fields\"");
    }
  }
}

}  // namespace plexor::rig
