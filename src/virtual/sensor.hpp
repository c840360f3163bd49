#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <variant>
#include <vector>

#include "base/time.hpp"
#include "virtual/front_end.hpp"
#include "virtual/ringing.hpp"
#include "virtual/simulation.hpp"
#include "virtual/surface.hpp"

namespace plexor::virtual_rig {

/// One kind of disturbance: when it comes next, and how hard. Arrivals are Poisson.
class Disturbance {
 public:
  Disturbance(const DisturbanceSettings& settings, std::uint32_t kind, std::uint64_t seed);

  [[nodiscard]] base::Instant next() const { return next_; }
  /// The strength of the bump at next() relative to the mean; next() then moves on.
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

/// The surface with the sensor on it: blows and disturbances in, millivolts at the
/// converter's pin out, sample by sample. All devices feel the same signal.
class Sensor {
 public:
  static constexpr std::size_t block = FrontEnd::block;

  Sensor(const SensorSettings& settings, std::uint64_t seed);

  /// The tapper stands at this one of the surface's `more_taps` from here on. Throws
  /// std::out_of_range.
  void move_tapper(std::size_t spot);
  /// A blow at the tap's spot that has its middle at `middle`, not before the
  /// last sample handed out.
  void strike(const physics::ForcePulse& blow, base::Instant middle);
  /// The coil is switched: a step of this size on the sensor's cable.
  void pick_up(double amplitude_mv);
  [[nodiscard]] base::Instant next_disturbance() const;
  /// The disturbance due at next_disturbance(). Returns its kind.
  std::size_t disturb();

  struct Stretch {
    std::int64_t first = 0;             ///< number of the first sample
    std::size_t count = 0;              ///< within one block
    std::span<const double> signal_mv;  ///< empty while nothing rings
  };
  /// The next samples before `end`.
  [[nodiscard]] Stretch listen(base::Instant end);
  [[nodiscard]] base::Instant next_sample_at() const {
    return base::segment_start + next_ * period_;
  }

 private:
  struct Source {
    Disturbance disturbance;
    std::variant<Tremor, Blow> cause;
    std::size_t spot = 0;            ///< of a blow
    std::optional<Ringing> ringing;  ///< of a tremor
  };
  [[nodiscard]] bool silent() const;
  void bleed(std::span<double> charge_c_to_pin_mv);

  base::Duration period_;
  double silence_v_;
  physics::DiscCircuit circuit_;
  physics::DiscStepper stepper_;
  Surface surface_;
  std::vector<std::size_t> more_taps_;  ///< the surface's spots
  std::size_t tap_ = 0;
  std::vector<Source> sources_;
  double disc_v_ = 0.0;
  double charge_c_ = 0.0;   ///< that the modes brought at the last sample
  double pick_up_c_ = 0.0;  ///< not yet on the disc
  std::int64_t next_ = 0;
  std::array<double, block> signal_{};
};

}  // namespace plexor::virtual_rig
