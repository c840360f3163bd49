#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "virtual/device.hpp"
#include "virtual/simulation.hpp"

namespace plexor::virtual_rig {

/// A device whose detection probability, latency distribution and false-alarm
/// rate are exactly what its settings say.
class Dice final : public SimulatedDevice {
 public:
  Dice(const DiceSettings& settings, std::uint32_t device, std::uint64_t seed);

  void feel(base::Instant contact) override { contacts_.push_back(contact); }
  void hear(const Sensor::Stretch&) override {}  // it has no sensor
  void restart() override { contacts_.clear(); }
  [[nodiscard]] base::Instant decides_at() const override;
  [[nodiscard]] std::optional<base::Event> decide() override;

 private:
  [[nodiscard]] base::Instant burst_ends_at() const;
  [[nodiscard]] std::optional<base::Event> answer_burst();
  [[nodiscard]] base::Event false_alarm();
  [[nodiscard]] base::Duration latency() const;
  [[nodiscard]] std::uint64_t bits(std::uint32_t count, std::uint32_t use) const;
  void schedule_alarm(base::Instant after);

  DiceSettings settings_;
  std::uint32_t device_;
  std::uint64_t seed_;
  std::uint32_t bursts_ = 0;
  std::uint32_t alarms_ = 0;
  base::Instant next_alarm_ = base::Instant::max();
  std::vector<base::Instant> contacts_;  ///< of the burst being felt
};

}  // namespace plexor::virtual_rig
