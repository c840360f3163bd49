#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <variant>
#include <vector>

#include "virtual/device.hpp"
#include "virtual/envelope_detector.hpp"
#include "virtual/front_end.hpp"
#include "virtual/link.hpp"
#include "virtual/outages.hpp"
#include "virtual/peak_detector.hpp"
#include "virtual/simulation.hpp"

namespace plexor::virtual_rig {

/// The reference device: converter, detection with lockout, rhythms by interval
/// windows after a decision gap, a report over its link. Deaf in an outage, and
/// begins anew after it.
class Firmware final : public SimulatedDevice {
 public:
  /// A rhythm may have one knock less; longer bursts are none.
  static constexpr std::size_t most_peaks = 64;

  Firmware(const FirmwareSettings& settings, const FrontEndSettings& front_end,
           std::uint32_t device, std::uint64_t seed);

  void feel(base::Instant) override {}  // it has only its sensor
  void hear(const Sensor::Stretch& stretch) override;
  void restart() override;
  [[nodiscard]] base::Instant decides_at() const override;
  [[nodiscard]] std::optional<base::Event> decide() override;

 private:
  [[nodiscard]] base::Instant time_of(std::int64_t sample) const;
  [[nodiscard]] std::int64_t sample_at(base::Instant instant) const;
  void detect(std::int64_t first, std::span<const std::int32_t> codes);
  void warm_up();
  void take_peak(std::int64_t sample);
  void break_down();

  FirmwareSettings settings_;
  FrontEnd front_end_;
  std::variant<PeakDetector, EnvelopeDetector> detector_;
  Link link_;
  Outages outages_;
  std::uint32_t device_;
  base::Duration period_;
  std::int64_t lockout_samples_;
  std::int64_t decision_samples_;
  std::int64_t locked_until_ = 0;
  std::int64_t deaf_until_ = 0;
  std::vector<std::int64_t> peaks_;  ///< of the rhythm being heard, by sample number
};

}  // namespace plexor::virtual_rig
