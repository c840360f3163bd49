#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "base/time.hpp"
#include "virtual/ringing.hpp"
#include "virtual/simulation.hpp"

namespace plexor::virtual_rig {

/// One kind of disturbance: when it comes next, and how hard. Arrivals are Poisson.
class Disturbance {
 public:
  Disturbance(const DisturbanceSettings& settings, std::uint32_t kind, std::uint64_t seed);

  [[nodiscard]] base::Instant next() const { return next_; }
  /// The amplitude of the bump at next(), which then moves on.
  [[nodiscard]] double take();

 private:
  void schedule_arrival(base::Instant after);

  DisturbanceSettings settings_;
  std::uint32_t kind_;
  std::uint64_t seed_;
  std::uint32_t arrivals_ = 0;
  std::int64_t bump_ = 0;
  base::Instant next_;
};

/// The surface with the sensor on it: blows and disturbances in, millivolts out,
/// sample by sample. All devices feel the same signal.
class Sensor {
 public:
  static constexpr std::size_t block = 256;

  Sensor(const SensorSettings& settings, std::uint64_t seed);

  /// The plunger strikes at `at`, not before the last sample handed out.
  void strike(double speed_m_s, base::Instant at);
  /// The coil is switched at `at`.
  void pick_up(double amplitude_mv, base::Instant at);
  [[nodiscard]] base::Instant next_disturbance() const;
  /// The disturbance due at next_disturbance().
  void disturb();

  struct Stretch {
    std::int64_t first = 0;             ///< number of the first sample
    std::size_t count = 0;              ///< at most block
    std::span<const double> signal_mv;  ///< empty while nothing rings
  };
  /// The next samples before `end`.
  [[nodiscard]] Stretch listen(base::Instant end);
  [[nodiscard]] base::Instant next_sample_at() const {
    return base::segment_start + next_ * period_;
  }

 private:
  struct DisturbanceSource {
    Disturbance disturbance;
    Ringing ringing;
  };
  void excite_surface(double amplitude_mv, base::Instant at);
  [[nodiscard]] bool silent() const;
  [[nodiscard]] std::vector<DisturbanceSource>::iterator soonest();

  SurfaceSettings surface_;
  std::uint64_t seed_;
  base::Duration period_;
  std::int64_t next_ = 0;
  std::uint32_t blows_ = 0;
  std::vector<Ringing> modes_;
  std::vector<DisturbanceSource> disturbances_;
  std::array<double, block> signal_{};
};

}  // namespace plexor::virtual_rig
