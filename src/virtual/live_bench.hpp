#pragma once

#include <atomic>
#include <functional>
#include <memory>
#include <optional>
#include <utility>
#include <vector>

#include "lines/virtual_chip.hpp"
#include "rig/rig_file.hpp"
#include "safety/wiring.hpp"
#include "virtual/power_chain.hpp"
#include "virtual/simulation.hpp"
#include "virtual/virtual_rig.hpp"
#include "virtual/voices/channel_voice.hpp"
#include "virtual/voices/voice.hpp"

namespace plexor::virtual_rig {

/// The world outside the computer in real time: the power chain between the
/// lines of a virtual chip, the physics that its current drives, and the
/// devices' ports. "Coil on" is what the whole chain lets through; it is shown
/// on the coil-sense line, whose changes the chip keeps with their instants.
class LiveBench {
 public:
  /// Chip and wiring must exist; loop and lid are as their lines are. `physics`
  /// may be missing: then only the power chain lives. `voices`: of its devices.
  LiveBench(lines::VirtualChip chip, const safety::Wiring& wiring,
            const PowerChain::Setting& setting, std::unique_ptr<VirtualRig> physics,
            std::vector<std::unique_ptr<Voice>> voices);

  /// The rig has a speed gate on this line.
  void fit_gate(const safety::Wire& wire) { gate_ = wire; }
  /// On this line hangs the power of a device, by its number: active takes it away.
  void fit_power_line(std::uint32_t device, const safety::Wire& wire) {
    power_lines_.emplace_back(device, wire);
  }
  /// The contact's line lags so much behind the contact.
  void lag_contact(base::Duration lag) { contact_lag_ = lag; }

  /// The rig has channels, and these speak for them, in their order.
  void fit_channels(std::vector<std::unique_ptr<ChannelVoice>> channels) {
    channels_ = std::move(channels);
  }

  /// Lives until `stop` says so.
  void serve(const std::function<bool()>& stop);

  /// Does something to each device: pulls its cable, makes it hang. Not while another thread
  /// serves.
  void with_devices(const std::function<void(Voice&)>& deed);

  [[nodiscard]] bool coil_is_on() const { return coil_on_; }
  /// The longest that serving was held up: what figures can't be better than.
  [[nodiscard]] base::Duration longest_delay() const { return longest_delay_; }

 private:
  void take(const lines::Change& change);
  void switch_device(std::uint32_t device, bool on, lines::KernelInstant now);
  void settle(lines::KernelInstant now);
  void advance(lines::KernelInstant to);
  void show(const rig::Observation& observation);
  void touch(lines::KernelInstant at);
  void drive(const safety::Wire& wire, bool active);
  void drive(const safety::Wire& wire, bool active, lines::KernelInstant at);
  void pass_gate(const rig::GatePassed& passed);
  [[nodiscard]] bool is_active(const safety::Wire& wire) const;

  lines::VirtualChip chip_;
  safety::Wiring wiring_;
  base::Duration longest_pulse_;
  PowerChain chain_;
  std::unique_ptr<VirtualRig> physics_;
  std::vector<std::unique_ptr<Voice>> voices_;
  std::vector<std::unique_ptr<ChannelVoice>> channels_;
  lines::KernelInstant start_;
  lines::KernelInstant looked_;
  std::uint64_t last_change_ = 0;
  std::atomic<bool> coil_on_ = false;
  std::optional<lines::KernelInstant> touching_until_;
  std::optional<safety::Wire> gate_;
  std::vector<std::pair<std::uint32_t, safety::Wire>> power_lines_;  ///< by device
  base::Duration contact_lag_{};
  std::atomic<base::Duration> longest_delay_{base::Duration{}};
};

}  // namespace plexor::virtual_rig
