#pragma once

#include <cstdint>
#include <map>
#include <memory>
#include <optional>
#include <span>
#include <vector>

#include "rig/ports.hpp"
#include "rig/rig_file.hpp"
#include "virtual/device.hpp"
#include "virtual/sensor.hpp"
#include "virtual/simulation.hpp"
#include "virtual/tapper.hpp"

namespace plexor::virtual_rig {

/// A rig made of physics, in virtual time: time runs only inside observe_until,
/// as fast as the samples can be computed. One thread. The same rig file, seed
/// and calls give the same observations bit for bit, however the waiting is cut
/// into deadlines.
class VirtualRig final : public rig::Actuator, public rig::Senses, public rig::Clock {
 public:
  /// `simulation` belongs to `rig` (parse_simulation). `seed` feeds noise,
  /// scatter and disturbances. `lifted`: the tapper stands clear of the surface,
  /// so no pulse makes contact; the coil's own pick-up remains.
  VirtualRig(const rig::RigFile& rig, const Simulation& simulation, std::uint64_t seed,
             bool lifted);

  /// Throws base::RigFault, with nothing queued, if pulses are pending or these
  /// begin in the past, overlap, are empty or out of order.
  void fire(std::span<const base::Pulse> pulses) override;
  void make_safe() noexcept override;

  /// Observations: PulseFired when a pulse ends, ContactSensed with a tip
  /// switch, and each device's events at their arrival.
  [[nodiscard]] std::optional<rig::Observation> observe_until(base::Instant deadline) override;

  [[nodiscard]] base::Instant now() const override { return now_; }

 private:
  /// One step of a pulse's consequences.
  struct Happening {
    enum class Kind : std::uint8_t { switched_on, switched_off, contact };
    Kind kind;
    std::uint32_t tap;
    base::Pulse pulse;       ///< the one it comes from
    double speed_m_s = 0.0;  ///< contact only
  };

  void check(std::span<const base::Pulse> pulses) const;
  void schedule(const Stroke& stroke, std::uint32_t tap);
  void cut_short(base::Instant at) noexcept;

  void advance_to(base::Instant deadline);
  [[nodiscard]] base::Instant next_stop(base::Instant deadline) const;
  [[nodiscard]] base::Instant next_decision() const;
  /// Does one thing that is due now; false if there is none.
  [[nodiscard]] bool happen();
  void happen(const Happening& happening);
  [[nodiscard]] bool decide_one();
  void observe(const rig::Observation& observation);

  bool tip_switch_;
  bool lifted_;
  double pick_up_mv_;
  Tapper tapper_;
  std::optional<Sensor> sensor_;
  std::vector<std::unique_ptr<SimulatedDevice>> devices_;
  base::Instant now_ = base::segment_start;
  base::Instant busy_until_ = base::segment_start;  ///< end of the last queued pulse
  // Multimaps keep the order of insertion among equal instants.
  std::multimap<base::Instant, Happening> timeline_;
  std::multimap<base::Instant, rig::Observation> observations_;
};

}  // namespace plexor::virtual_rig
