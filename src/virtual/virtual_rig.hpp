#pragma once

#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <span>
#include <string_view>
#include <vector>

#include "rig/disturbance_reader.hpp"
#include "rig/ports.hpp"
#include "rig/rig_file.hpp"
#include "virtual/device.hpp"
#include "virtual/device_life.hpp"
#include "virtual/sensor.hpp"
#include "virtual/simulation.hpp"
#include "virtual/tapper.hpp"

namespace plexor::virtual_rig {

/// What really happened: for tests and for curious people, never for the analysis.
struct Truth {
  enum class Kind : std::uint8_t { contact, click, disturbance };
  Kind kind = Kind::contact;
  base::Instant at;
  std::uint32_t firing = 0;   ///< how many times fire() had been called
  std::uint32_t tap = 0;      ///< index within the pulses of that call
  double speed_m_s = 0.0;     ///< contact and click
  double peak_force_n = 0.0;  ///< contact
  double contact_s = 0.0;     ///< contact: how long it lasts
  double coil_c = 0.0;        ///< contact and click: winding when the pulse began
  std::string_view name{};    ///< disturbance
};
[[nodiscard]] std::string_view to_text(Truth::Kind kind);

/// A rig made of physics, in virtual time: time runs only inside observe_until,
/// as fast as the samples can be computed. One thread. The same rig file, seed
/// and calls give the same observations bit for bit, however the waiting is cut
/// into deadlines.
class VirtualRig final : public rig::Actuator,
                         public rig::Senses,
                         public rig::Clock,
                         public rig::PowerSwitch {
 public:
  using TruthTeller = std::function<void(const Truth&)>;

  /// `simulation` belongs to `rig` (parse_simulation). `seed` feeds noise,
  /// scatter and disturbances. `lifted`: the tapper stands clear of the surface,
  /// so no pulse makes contact; its stops click and the coil's pick-up remains.
  /// `tell` hears what really happens, in time order.
  VirtualRig(
      const rig::RigFile& rig, const Simulation& simulation, std::uint64_t seed, bool lifted,
      TruthTeller tell = [](const Truth&) {});

  /// Throws base::RigFault, with nothing queued, if pulses are pending or these
  /// begin in the past, overlap, are empty or out of order.
  void fire(std::span<const base::Pulse> pulses) override;
  void make_safe() noexcept override;
  /// Without power, and until it has started again, a device neither hears nor reports.
  void set_power(std::uint32_t device, bool on) override;

  /// Observations: PulseFired when a pulse ends, ContactSensed as the rig senses
  /// it (a pickup hears what lands on the surface too), GatePassed with a speed
  /// gate, each channel's samples, each device's events at their arrival, and the disturbances that
  /// are marked.
  [[nodiscard]] std::optional<rig::Observation> observe_until(base::Instant deadline) override;

  [[nodiscard]] base::Instant now() const override { return now_; }

  /// The tapper stands at this one of the simulated surface's `more_taps` from here on; without a
  /// sensor it makes no difference.
  void move_tapper(std::size_t spot) {
    if (sensor_) sensor_->move_tapper(spot);
  }

 private:
  /// One step of a pulse's consequences.
  struct Happening {
    enum class Kind : std::uint8_t {
      pulse_begins,
      pulse_ends,
      flag,
      contact,
      click,
      blow,
      disturbance_fades,  ///< of the kind `tap`
    };
    Kind kind;
    std::uint32_t firing;
    std::uint32_t tap;
    base::Pulse pulse;           ///< the one it comes from
    double speed_m_s = 0.0;      ///< contact and click
    double coil_c = 0.0;         ///< likewise
    base::Duration covered{};    ///< flag: how long it covered the speed gate
    physics::ForcePulse blow{};  ///< blow: its middle is now
  };

  /// A converter of its own, which gives the same codes as the device's.
  struct Streamed {
    std::uint32_t channel = 0;
    std::uint32_t device = 0;
    FrontEnd front_end;
  };
  struct Unit {
    std::unique_ptr<SimulatedDevice> device;
    DeviceLife life;
  };

  void check(std::span<const base::Pulse> pulses) const;
  void advance_to(base::Instant deadline);
  [[nodiscard]] base::Instant next_stop(base::Instant deadline) const;
  [[nodiscard]] base::Instant next_of_a_device() const;
  /// Does one thing that is due now; false if there is none.
  [[nodiscard]] bool happen();
  void happen(const Happening& happening);
  void begin_pulse(const Happening& begun);
  void schedule(const Stroke& stroke, const Happening& begun);
  void touch(const Happening& contact);
  void sense_contact();
  void hit_a_stop(const Happening& click);
  void disturb();
  void mark(std::uint32_t kind);
  void tell_disturbance(std::uint32_t kind);
  [[nodiscard]] bool live_one();
  void stream(const Sensor::Stretch& stretch);
  void observe(const rig::Observation& observation);

  Simulation simulation_;
  rig::Contact contact_;
  bool lifted_;
  TruthTeller tell_;
  Tapper tapper_;
  std::optional<Sensor> sensor_;
  std::vector<Unit> units_;
  std::vector<Streamed> streams_;
  std::vector<rig::DisturbanceReader> markers_;  ///< by kind of disturbance
  base::Instant now_ = base::segment_start;
  base::Instant busy_until_ = base::segment_start;  ///< end of the last queued pulse
  std::uint32_t firings_ = 0;
  std::optional<Happening> energised_;  ///< the pulse that is on
  std::size_t touched_ = 0;             ///< contacts of the last pulse so far
  // Multimaps keep the order of insertion among equal instants.
  std::multimap<base::Instant, Happening> timeline_;
  std::multimap<base::Instant, rig::Observation> observations_;
};

}  // namespace plexor::virtual_rig
