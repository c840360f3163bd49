#include "rig/hearing.hpp"

#include <algorithm>

namespace plexor::rig {

std::vector<std::uint32_t> listeners_of(const std::vector<Device>& devices) {
  std::vector<std::uint32_t> counts;
  counts.reserve(devices.size());
  for (const Device& device : devices) {
    counts.push_back(static_cast<std::uint32_t>(std::max<std::size_t>(device.listeners.size(), 1)));
  }
  return counts;
}

Hearing::Hearing(const std::vector<Device>& devices) : devices_(devices) {
  for (const std::uint32_t listeners : listeners_of(devices)) up_.emplace_back(listeners, true);
}

void Hearing::set(std::uint32_t device, std::uint32_t listener, bool up) {
  up_.at(device).at(listener) = up;
}

bool Hearing::is_complete() const {
  return std::ranges::all_of(up_, [](const std::vector<bool>& listeners) {
    return std::ranges::find(listeners, false) == listeners.end();
  });
}

std::string Hearing::missing() const {
  std::string names;
  for_each_missing([&](std::uint32_t device, std::uint32_t listener) {
    const Device& silent = devices_[device];
    names += (names.empty() ? "" : ", ") + silent.name;
    if (silent.listeners.size() > 1) names += " by " + silent.listeners[listener].name;
  });
  return names;
}

void Hearing::for_each_missing(
    const std::function<void(std::uint32_t, std::uint32_t)>& deed) const {
  for (std::uint32_t device = 0; device < up_.size(); ++device) {
    for (std::uint32_t listener = 0; listener < up_[device].size(); ++listener) {
      if (!up_[device][listener]) deed(device, listener);
    }
  }
}

}  // namespace plexor::rig
