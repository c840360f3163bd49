#include "run/device_watch.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "rig/hearing.hpp"

namespace plexor::run {

namespace {

constexpr base::Duration an_hour = std::chrono::hours{1};

}  // namespace

DeviceWatch::DeviceWatch(const std::vector<rig::Device>& devices) {
  const std::vector<std::uint32_t> listeners = rig::listeners_of(devices);
  for (std::size_t i = 0; i < devices.size(); ++i) {
    Watched& one = devices_.emplace_back(Watched{devices[i].name, devices[i].recovery});
    one.down_since.resize(listeners[i]);
    is_needed_ = is_needed_ || one.how;
  }
}

void DeviceWatch::heard(std::uint32_t device) {
  Watched& one = devices_.at(device);
  one.has_answered = true;
  one.unanswered = 0;
}

void DeviceWatch::answered(const judge::Settled& closed) {
  if (closed.void_reason || closed.trial.expects.empty()) return;
  for (std::uint32_t device = 0; device < closed.answers.size(); ++device) {
    if (closed.answers[device].outcome == base::Outcome::miss) {
      ++devices_.at(device).unanswered;
    } else {
      devices_.at(device).unanswered = 0;
    }
  }
}

void DeviceWatch::listener_changed(const rig::ListenerChanged& change) {
  std::optional<base::Instant>& since = devices_.at(change.device).down_since.at(change.listener);
  if (change.up) {
    since.reset();
  } else if (!since) {
    since = change.at;
  }
}

std::optional<std::string> DeviceWatch::why_hung(const Watched& device, base::Instant now) {
  if (device.has_answered && device.unanswered >= device.how->silent_after_misses) {
    return fmt::format("{} rhythms in a row unanswered", device.unanswered);
  }
  for (const std::optional<base::Instant>& since : device.down_since) {
    if (since && now - *since >= device.how->silent_after) {
      return fmt::format("not heard for {:.0f} s", base::to_s(now - *since));
    }
  }
  return std::nullopt;
}

bool DeviceWatch::may_be_cycled(Watched& device, base::Instant now) {
  while (!device.cycles.empty() && now - device.cycles.front() >= an_hour) {
    device.cycles.pop_front();
  }
  return device.how->power && device.cycles.size() < device.how->power->most_per_hour;
}

/// What it left unanswered before says nothing about it any more.
void DeviceWatch::start_anew(Watched& device, base::Instant now) {
  device.power = Watched::Power::on;
  device.unanswered = 0;
  for (std::optional<base::Instant>& since : device.down_since) {
    if (since) since = now;
  }
}

std::optional<DeviceWatch::Order> DeviceWatch::order_for(Watched& device, base::Instant now) {
  if (device.power == Watched::Power::off) {
    if (now < device.until) return std::nullopt;
    device.power = Watched::Power::starting;
    device.until = now + device.how->power->boot;
    return Order{.on = true};
  }
  if (device.power == Watched::Power::starting) {
    if (now < device.until) return std::nullopt;
    start_anew(device, now);
  }
  const std::optional<std::string> reason = why_hung(device, now);
  device.is_left = reason && !may_be_cycled(device, now);
  if (!reason || device.is_left) return std::nullopt;
  device.power = Watched::Power::off;
  device.until = now + device.how->power->off;
  device.cycles.push_back(now);
  return Order{.on = false, .reason = *reason};
}

std::optional<DeviceWatch::Order> DeviceWatch::next_order(base::Instant now) {
  for (std::uint32_t index = 0; index < devices_.size(); ++index) {
    if (!devices_[index].how) continue;
    if (auto order = order_for(devices_[index], now)) {
      order->device = index;
      return order;
    }
  }
  return std::nullopt;
}

std::optional<base::Instant> DeviceWatch::busy_until() const {
  std::optional<base::Instant> soonest;
  for (const Watched& device : devices_) {
    if (device.power == Watched::Power::on) continue;
    soonest = std::min(soonest.value_or(device.until), device.until);
  }
  return soonest;
}

std::vector<std::uint32_t> DeviceWatch::without_power() const {
  std::vector<std::uint32_t> dark;
  for (std::uint32_t index = 0; index < devices_.size(); ++index) {
    if (devices_[index].power == Watched::Power::off) dark.push_back(index);
  }
  return dark;
}

std::string DeviceWatch::note() const {
  std::string notes;
  const auto add = [&notes](const std::string& note) {
    notes += (notes.empty() ? "" : ", ") + note;
  };
  for (const Watched& device : devices_) {
    if (device.power != Watched::Power::on) {
      add(device.name + " hangs and is being restarted");
    } else if (device.is_left && device.how->power) {
      add(fmt::format("{} hangs, restarted {} times within the hour", device.name,
                      device.cycles.size()));
    } else if (device.is_left) {
      add(device.name + " hangs");
    }
  }
  return notes;
}

}  // namespace plexor::run
