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

namespace plexor::virtual_rig {

/// How the simulated tapper departs from its calibration. Counts of 0 mean never.
struct TapperSettings {
  base::Duration transit_sd{};              ///< scatter of the transit, normal, truncated at 3 sd
  base::Duration dead{};                    ///< a shorter pulse never reaches the surface
  std::optional<base::Duration> re_strike;  ///< a longer pulse strikes twice
  base::Duration re_strike_after{};         ///< from the first contact to the second
  double pick_up_mv = 0.0;                  ///< coil switching seen by the sensor
  std::int64_t miss_every = 0;              ///< every so many pulses one does not land
  std::int64_t late_every = 0;              ///< every so many pulses one begins late
  base::Duration late{};                    ///< by this much
  base::Duration transit_drift_per_hour{};  ///< added to the transit as the run goes on
};

/// One way in which the surface rings after a blow.
struct Mode {
  double ring_hz = 0.0;
  base::Duration ring{};  ///< decay time constant: to 1/e
  double share = 1.0;     ///< of the blow's amplitude
};

struct SurfaceSettings {
  double gain_mv_per_m_s = 0.0;  ///< sensor amplitude over strike speed, all shares together
  double amplitude_cv = 0.0;     ///< scatter of the amplitude from blow to blow
  std::vector<Mode> modes;       ///< 1 to 3
};

/// The sensor's analogue-to-digital converter; each device has its own with these properties.
struct FrontEndSettings {
  std::int64_t rate_hz = 0;  ///< divides 10^9, so that each sample has a whole instant
  int bits = 0;
  double reference_mv = 0.0;  ///< full scale; the signal rests at half of it
  double noise_mv = 0.0;      ///< standard deviation, normal
};

/// Something in the workshop that the sensor feels: mugs, footsteps, kiln doors.
struct DisturbanceSettings {
  std::string name;
  double per_hour = 0.0;
  double amplitude_mv = 0.0;
  double amplitude_cv = 0.0;
  Mode mode;
  std::int64_t bumps = 1;  ///< in one disturbance
  base::Duration shortest_gap{};
  base::Duration longest_gap{};  ///< between bumps, drawn evenly
};

/// What the device's sensor side is made of.
struct SensorSettings {
  SurfaceSettings surface;
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

/// A device that samples the sensor, finds peaks and recognises rhythms.
struct FirmwareSettings {
  std::int64_t window = 0;  ///< samples in running mean and deviation
  double k_sigma = 0.0;     ///< flagged beyond so many deviations
  double min_lsb = 0.0;     ///< and beyond so many steps of the converter
  double influence = 0.0;   ///< weight with which a flagged sample enters the window, 0 to 1
  base::Duration lockout{};
  base::Duration decision_gap{};  ///< silence that ends a rhythm
  std::int64_t baud = 0;
  base::Duration poll{};     ///< the controller's side looks at the line this often
  double sensitivity = 1.0;  ///< of this unit's sensor
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

/// What a simulated rig is made of: the [simulated] table of a rig file.
struct Simulation {
  TapperSettings tapper;
  std::optional<SensorSettings> sensor;  ///< nothing if all devices throw dice
  std::vector<DeviceSettings> devices;   ///< in the order of the rig's devices
};

/// Reads and checks the [simulated] table of the rig file with this text;
/// `rig` is the same file's parsed rest. Throws base::InputError.
[[nodiscard]] Simulation parse_simulation(std::string_view text, const std::string& file,
                                          const rig::RigFile& rig);

}  // namespace plexor::virtual_rig
