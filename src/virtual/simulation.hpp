#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <variant>
#include <vector>

#include "base/time.hpp"
#include "rig/rig_file.hpp"
#include "virtual/physics/piezo.hpp"
#include "virtual/physics/plate.hpp"
#include "virtual/physics/solenoid.hpp"

namespace plexor::virtual_rig {

/// The tapper's solenoid, and how it departs from tap to tap. Counts of 0 mean never.
struct TapperSettings {
  physics::Solenoid solenoid;
  physics::Elastic tip;                     ///< what the tip is made of
  double tip_radius_m = 0.006;              ///< of its rounding
  base::Duration transit_sd{};              ///< scatter of the transit, normal, truncated at 3 sd
  double strike_cv = 0.0;                   ///< scatter of the strike speed, likewise
  double click_share = 0.0;                 ///< of a stop's blow that reaches the surface
  double pick_up_mv = 0.0;                  ///< coil switching seen by the sensor's cable
  std::int64_t miss_every = 0;              ///< every so many pulses one does not land
  std::int64_t late_every = 0;              ///< every so many pulses one begins late
  base::Duration late{};                    ///< by this much
  base::Duration transit_drift_per_hour{};  ///< added to the transit as the run goes on
};

/// The plate that is struck, and where.
struct SurfaceSettings {
  physics::Plate plate;
  physics::Spot tap;
  std::vector<physics::Spot> more_taps{};  ///< where the tapper may be moved to
  physics::Spot sensor;
  double restitution = 0.0;   ///< of tip and surface, besides what the plate carries away
  double amplitude_cv = 0.0;  ///< scatter of the blow from tap to tap
};

/// The disc under the surface with the mass on it, and its wiring.
struct DiscSettings {
  physics::Disc disc;
  double resonance_hz = 0.0;  ///< of the disc alone
  double quality = 1.0;       ///< of its resonance
  double disc_kg = 0.0;       ///< effective mass of the disc alone
  double seismic_kg = 0.0;    ///< mass put on it
  double cable_f = 0.0;
  double bleed_ohm = 0.0;
  double series_ohm = 0.0;  ///< to the pin, which the rails clamp

  [[nodiscard]] physics::DiscCircuit circuit() const {
    return {physics::capacitance_f(disc) + cable_f, bleed_ohm};
  }
};

/// The sensor's analogue-to-digital converter; each device has its own with these properties.
struct FrontEndSettings {
  std::int64_t rate_hz = 0;  ///< divides 10^9, so that each sample has a whole instant
  int bits = 0;
  double reference_mv = 0.0;  ///< full scale; the signal rests at half of it
  double noise_mv = 0.0;      ///< standard deviation, normal
  double hum_mv = 0.0;        ///< amplitude of the mains
  double hum_hz = 50.0;

  [[nodiscard]] base::Duration period() const {
    return base::Duration{std::chrono::seconds{1}} / rate_hz;
  }
};

/// How the floor shakes the sensor: a decaying oscillation.
struct Tremor {
  double amplitude_mv = 0.0;
  double ring_hz = 0.0;
  base::Duration ring{};  ///< decay time constant: to 1/e
};

/// Something that lands on the same surface.
struct Blow {
  double impulse_ns = 0.0;
  base::Duration contact{};
  physics::Spot at;
};

/// Something in the workshop that the sensor feels: mugs, footsteps, kiln doors.
struct DisturbanceSettings {
  std::string name;
  double per_hour = 0.0;
  double strength_cv = 0.0;
  std::variant<Tremor, Blow> cause;
  std::int64_t bumps = 1;  ///< in one disturbance
  base::Duration shortest_gap{};
  base::Duration longest_gap{};  ///< between bumps, drawn evenly
  /// A line of the rig tells of it, and of this time after it; nothing: nobody does.
  std::optional<base::Duration> marked_tail{};
};

/// What the devices' sensor side is made of.
struct SensorSettings {
  SurfaceSettings surface;
  DiscSettings disc;
  FrontEndSettings front_end;
  std::vector<DisturbanceSettings> disturbances;
};

/// A pattern a device knows: for each interval between knocks the window it must lie in.
struct KnownRhythm {
  std::string name;
  std::vector<std::pair<base::Duration, base::Duration>> intervals;

  /// The intervals are as many as the windows, and each lies in its own.
  [[nodiscard]] bool matches(const std::vector<base::Duration>& heard) const;
};

/// Flags samples that stand out from the samples before them.
struct PeakSettings {
  std::int64_t window = 0;  ///< samples in running mean and deviation
  double k_sigma = 0.0;     ///< flagged beyond so many deviations
  double min_lsb = 0.0;     ///< and beyond so many steps of the converter
  double influence = 0.0;   ///< weight with which a flagged sample enters the window, 0 to 1
};

/// Flags the moments when the smoothed, rectified signal rises above a threshold.
struct EnvelopeSettings {
  base::Duration smooth{};  ///< time constant of the low-pass
  double min_lsb = 0.0;     ///< threshold in steps of the converter, at least
  double k_noise = 0.0;     ///< and so many times the envelope's running mean in quiet
  double release = 0.5;     ///< falls ready again below this share of the threshold
};

/// A wire: 10 bits a character, and a controller's side that looks at it now and then.
struct SerialLink {
  std::int64_t baud = 0;
  base::Duration poll{};
};

/// Radio towards a sleeping station: sent, then held until the next beacon that it wakes for.
struct RadioLink {
  base::Duration overhead{};  ///< wake-up, association, sending
  base::Duration beacon{};    ///< the interval at which the station listens
};

/// A device falls silent now and then. Poisson, rates of 0 mean never.
struct OutageSettings {
  double resets_per_hour = 0.0;
  base::Duration boot{};  ///< deaf after a reset
  double hangs_per_hour = 0.0;
  base::Duration hang{};  ///< until its watchdog resets it
};

/// A sensor that gains or loses sensitivity with the days.
struct AgeingSettings {
  std::int64_t since_ns = 0;  ///< Unix time of its first day's begin, in UTC
  double gain_per_day = 0.0;  ///< added to its sensitivity of that day, as a share of it
};

/// A device that samples the sensor, finds peaks and recognises rhythms.
struct FirmwareSettings {
  std::variant<PeakSettings, EnvelopeSettings> detector;
  base::Duration lockout{};
  base::Duration decision_gap{};  ///< silence that ends a rhythm
  std::variant<SerialLink, RadioLink> link;
  OutageSettings outages;
  double sensitivity = 1.0;  ///< of this unit's sensor
  std::optional<AgeingSettings> ageing{};
  std::vector<KnownRhythm> rhythms;
};

/// A device of exactly known truth, for checking the statistics: it hears the
/// contacts themselves and throws dice.
struct DiceSettings {
  enum class Spread : std::uint8_t { uniform, exponential };
  double detects = 0.0;           ///< probability of reporting a known rhythm
  base::Duration decision_gap{};  ///< contacts closer than this belong together
  base::Duration latency{};       ///< last contact to report, at least the decision gap
  Spread spread_kind = Spread::uniform;
  base::Duration spread{};  ///< added to the latency: uniform up to this, or exponential mean
  double false_alarms_per_hour = 0.0;
  std::vector<KnownRhythm> rhythms;
};

using DeviceSettings = std::variant<FirmwareSettings, DiceSettings>;

/// When a device hangs for good, and how it starts again.
struct LifeSettings {
  std::vector<base::Duration> hangs_at{};  ///< since the segment's begin; only its power helps
  base::Duration boot{};                   ///< it is silent for so long once it has power again
};

/// How a device speaks to one of its listeners, in real time.
struct VoiceSettings {
  std::string says = "{event}";     ///< for a report; {device} and {device_time_ms} are put in too
  std::string topic{};              ///< to a broker: where it publishes
  base::Duration shortest_delay{};  ///< of its way, beside what the way takes by itself
  base::Duration longest_delay{};   ///< drawn evenly
};

/// How a device lives on its ports, in real time.
struct SpeechSettings {
  std::vector<VoiceSettings> voices{};  ///< in the order of the device's listeners
  std::vector<std::pair<std::string, std::string>>
      answers{};                                  ///< query and reply, without line end
  std::string banner{};                           ///< said when it starts anew
  base::Duration boot = std::chrono::seconds{1};  ///< it is silent for so long then
};

/// What a simulated rig is made of: the [simulated] table of a rig file.
struct Simulation {
  TapperSettings tapper;
  std::optional<SensorSettings> sensor;  ///< nothing if all devices throw dice
  std::vector<DeviceSettings> devices;   ///< in the order of the rig's devices
  std::vector<LifeSettings> lives{};     ///< likewise; may be empty: then none ever hangs
  std::vector<SpeechSettings> speech;    ///< likewise; empty in virtual time
  /// The computer's own power fails then, in the run's first segment. Virtual time only.
  std::optional<base::Instant> power_cut{};
};

/// Reads and checks the [simulated] table of the rig file with this text;
/// `rig` is the same file's parsed rest. Throws base::InputError.
[[nodiscard]] Simulation parse_simulation(std::string_view text, const std::string& file,
                                          const rig::RigFile& rig);

}  // namespace plexor::virtual_rig
