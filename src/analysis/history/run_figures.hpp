#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

// One run as a history of many keeps it: counts, from which every interval and test can be made
// again, and what it was done with. Some hundred bytes, whatever the run's length.

namespace plexor::analysis {

/// So many of so many.
struct Counts {
  std::uint64_t x = 0;
  std::uint64_t n = 0;
  bool operator==(const Counts&) const = default;
};

/// What happened in one hour of the local day, over the whole run.
struct HourOfDay {
  double quiet_hours = 0.0;     ///< of undisturbed listening
  std::uint64_t incidents = 0;  ///< false alarms in it
  bool operator==(const HourOfDay&) const = default;
};

/// A stretch in which nobody watched.
struct Hole {
  enum class Cause : std::uint8_t {
    reboot,       ///< the computer began anew: a power cut, or somebody restarted it
    killed,       ///< the program ended without a word, the computer went on
    interrupted,  ///< the run was stopped in order and resumed later
    fault,        ///< the rig's fault ended the segment, and the run was resumed
  };
  Cause cause = Cause::reboot;
  double begins_s = 0.0;           ///< on the run's own time, which stands still in it
  std::optional<double> length_s;  ///< by the wall clock; nothing where that is not known
  bool operator==(const Hole&) const = default;
};

/// One device in one run.
struct DeviceFigures {
  std::string name;        ///< the unit
  std::string release;     ///< its firmware's version
  Counts detected;         ///< hits among valid trials that expect an event
  Counts false_responses;  ///< to distractors
  Counts confused;
  std::uint64_t incidents = 0;            ///< false alarms in undisturbed quiet
  double quiet_hours = 0.0;               ///< of undisturbed quiet
  std::uint64_t disturbed_incidents = 0;  ///< in marked disturbances
  std::optional<double> median_ms;        ///< latency, the unanswered at +infinity
  std::optional<double> p95_ms;
  std::uint32_t power_cycles = 0;
  double unheard_s = 0.0;  ///< how long it could not be heard in all
  std::array<HourOfDay, 24> by_hour{};
  /// Within the run: z of Laplace's test on the alarms (of Mann and Kendall's on hourly rates where
  /// they come in bursts) and of Mann and Kendall's on hourly detection; nothing where there is too
  /// little for it. z > 0: more alarms; falling detection has z < 0.
  std::optional<double> alarms_z;
  std::optional<double> detection_z;
  bool operator==(const DeviceFigures&) const = default;
};

struct RunFigures {
  std::string
      run_id;  ///< the run's UUID; of journals before format 6 made from their first records
  std::string folder;           ///< where it was when it was imported, for people
  std::int64_t started_ns = 0;  ///< Unix time; 0 where not known
  std::int32_t utc_offset_s = 0;
  std::string night;  ///< "2026-06-11": the local day on which the night began (from noon to noon)
  std::string plexor_version;
  std::string scenario;
  std::string purpose;
  std::uint64_t seed = 0;
  bool lifted = false;
  bool simulated = false;
  std::string rig;
  std::string surface;
  std::string spot;
  std::string mounting;
  std::string ended;   ///< "complete", "interrupted", "fault", "too-many-voids"; "" without an end
  std::string detail;  ///< of that end
  std::string judged;  ///< "pass", "fail", "undecided", "measured"
  std::string headline;
  double duration_s = 0.0;   ///< watched, holes left out
  std::uint64_t trials = 0;  ///< valid
  std::uint64_t voids = 0;
  std::vector<Hole> holes;
  /// The tapper itself: mean transit of the run's reference taps (else of all sensed contacts), and
  /// of the coil's modelled temperature at its taps. Nothing where not measured.
  std::optional<double> transit_ms;
  std::optional<double> transit_sd_ms;
  std::optional<double> coil_c;
  std::vector<DeviceFigures> devices;
  bool operator==(const RunFigures&) const = default;
};

}  // namespace plexor::analysis
