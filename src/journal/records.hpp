#pragma once

#include <algorithm>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "base/event.hpp"
#include "base/outcome.hpp"
#include "base/pulse.hpp"
#include "base/surface_point.hpp"
#include "base/trial.hpp"

namespace plexor::journal {

/// The newest journal format this build reads and the one it writes. See FORMAT.md.
inline constexpr int format_version = 6;

/// By what a device is heard, as the analysis must know it.
struct ListenerFacts {
  std::string name{};              ///< "broker"; in virtual time and old journals empty
  std::string place{};             ///< "topic workshop/panel at 192.168.7.2:8883", for people
  base::Duration arrival_width{};  ///< by how much later than it came an event may be stamped
  bool operator==(const ListenerFacts&) const = default;
};

/// One device as the analysis must know it.
struct DeviceFacts {
  std::string name;
  std::string version;               ///< as configured, or as it answered
  base::Duration line_time{};        ///< 0 where unknown
  base::Duration pattern_end_gap{};  ///< 0 where unknown
  /// Verdicts are about the first, the others are shown beside it. In virtual time and in
  /// journals before format 3 none: then it is heard by one that adds nothing.
  std::vector<ListenerFacts> listeners{};
  std::string position{};                  ///< where on the surface it stands; empty: not told
  std::optional<base::SurfacePoint> at{};  ///< where its sensor is, where that is told
  bool operator==(const DeviceFacts&) const = default;
};

/// A stream of samples, as the analysis must know it. The samples stand beside the journal.
struct ChannelFacts {
  std::string name;
  std::optional<std::uint32_t> device{};  ///< whose converter it is; nothing: a reference sensor
  std::int64_t rate_hz = 0;
  std::int32_t lowest = 0;  ///< the codes at which the converter can say no more
  std::int32_t highest = 0;
  std::string unit{};  ///< of a code: "LSB", "mV"
  bool operator==(const ChannelFacts&) const = default;
};

/// The rig as far as the analysis depends on it (so that it never parses a rig file).
struct RigFacts {
  std::string name;
  bool simulated = false;
  bool calibrated = false;          ///< without: speak of drive, never of m/s
  std::int64_t moving_mass_ug = 0;  ///< of the plunger; 0 in journals before format 5
  bool contact_sensed = false;      ///< without: latency starts at the planned contact
  base::Duration transit_sd{};   ///< repeatability, for the uncertainty where contact is not sensed
  std::string calibration_date;  ///< empty without calibration
  std::string surface;
  std::string spot;
  std::string mounting;
  std::vector<DeviceFacts> devices;
  std::vector<ChannelFacts> channels{};
  bool operator==(const RigFacts&) const = default;
};

/// First record of each journal.
struct Header {
  int format = format_version;
  std::string plexor_version;
  std::uint64_t seed = 0;
  bool lifted = false;        ///< tapper clear of the surface
  std::string scenario_file;  ///< names for people; the texts below are what counts
  std::string scenario_text;
  std::string rig_file;
  std::string rig_text;
  std::string calibration_file{};  ///< where it is a file of its own; else empty, as its text
  std::string calibration_text{};
  RigFacts rig;
  bool operator==(const Header&) const = default;
};

/// Facts of the controller computer: the only record in which two virtual runs of a seed differ.
struct Host {
  std::string started_utc;  ///< wall time for people, ISO 8601
  std::string host_name;
  std::string system;        ///< kernel name, release and machine
  std::string scheduling{};  ///< what the pulses' thread was granted; empty in virtual time
  std::string run_id{};      ///< a UUID, the run's own for good; empty in journals before format 6
  bool operator==(const Host&) const = default;
};

/// Begins a segment: all later instants count from here. A new one follows each reboot.
struct Segment {
  std::string boot_id;            ///< "virtual" in virtual time
  std::int64_t monotonic_ns = 0;  ///< the system's monotonic clock at the segment's start
  std::int64_t wall_ns = 0;  ///< Unix time at the same moment; in virtual time 0, or as asked for
  std::int32_t utc_offset_s = 0;  ///< of the rig's local time then, east positive
  bool operator==(const Segment&) const = default;
};

/// A trial is about to be presented: everything commanded.
struct TrialPlanned {
  base::Trial trial;
  base::Instant start;              ///< planned first contact; quiet: its begin
  std::vector<base::Pulse> pulses;  ///< one for each tap
  std::int32_t coil_mc = 0;         ///< modelled winding temperature, in 1/1000 degC
  bool operator==(const TrialPlanned&) const = default;
};

/// The trial is over: everything measured, and whether it counts.
struct TrialDone {
  base::TrialId id;
  base::Instant end;                    ///< end of its window
  std::vector<base::Pulse> actual;      ///< as the actuator reported them
  std::vector<base::Instant> contacts;  ///< as sensed, in time order; empty where not sensed
  std::optional<base::VoidReason> void_reason;
  bool operator==(const TrialDone&) const = default;
};

/// Something a device reported.
struct Heard {
  base::Event event;
  bool operator==(const Heard&) const = default;
};

/// A device could no longer be heard by one of its listeners, or again.
struct ListenerState {
  std::uint32_t device = 0;
  bool up = false;
  /// Down: since when. Trials of this segment that were done later are void, though they ended
  /// as valid before it was noticed.
  base::Instant at;
  std::uint32_t listener = 0;  ///< which of the device's
  bool operator==(const ListenerState&) const = default;
};

/// The reference taps moved beyond tolerance: all rhythm and quiet trials done
/// since the last good group of them are void.
struct ReferenceShift {
  base::Instant at;
  base::Duration shift{};    ///< of the mean transit against the opening group
  std::uint32_t voided = 0;  ///< how many trials
  bool operator==(const ReferenceShift&) const = default;
};

/// From here on nothing is tapped any more in this segment; listening may go on.
struct LeaveEnded {
  std::string reason;  ///< "tripped: lid", "the arm ticket has ended"
  base::Instant at;
  bool operator==(const LeaveEnded&) const = default;
};

/// The tapper stands at another of the scenario's spots from here on.
struct Moved {
  std::uint32_t spot = 0;  ///< index into the scenario's
  base::Instant at;
  bool operator==(const Moved&) const = default;
};

/// The computer's wall clock was set, or its zone's offset has changed (daylight saving): from here
/// on this is what people's clocks say. The run's own time knows nothing of it.
struct ClockSet {
  base::Instant at;
  std::int64_t wall_ns = 0;       ///< Unix time at that moment
  std::int32_t utc_offset_s = 0;  ///< of local time, east positive
  bool operator==(const ClockSet&) const = default;
};

/// A person at the rig gave leave to tap anew: after LeaveEnded, or where a segment began without.
struct LeaveGiven {
  base::Instant at;
  bool operator==(const LeaveGiven&) const = default;
};

/// Somebody or a line of the rig told of something that may shake the surface: what a device
/// reports meanwhile is no false alarm of its own.
struct Disturbance {
  std::string name;  ///< "kiln door"
  std::string by;    ///< "hand", or which line
  base::Instant from;
  base::Instant to;
  base::Instant at{};  ///< when it was told; left so where nobody kept it: all is believed then
  bool operator==(const Disturbance&) const = default;

  /// What is said of times longer ago is not believed.
  [[nodiscard]] base::Instant believed_from() const {
    return std::max(from, at - base::longest_unmarked);
  }
};

/// A device that no longer answered had its power taken away and given back.
struct PowerCycle {
  std::uint32_t device = 0;
  std::string reason;  ///< "12 knocks in a row unanswered"
  base::Instant at;
  bool operator==(const PowerCycle&) const = default;
};

/// A line that a device sent, event or not: only where its listener keeps them.
struct RawLine {
  std::uint32_t device = 0;
  std::string text;
  base::Instant at;
  std::uint32_t listener = 0;  ///< which of the device's
  bool operator==(const RawLine&) const = default;
};

/// Last record of a finished segment.
struct Ended {
  enum class Reason : std::uint8_t {
    complete,     ///< the plan is done
    interrupted,  ///< stopped by a signal or a key
    fault,        ///< limit, rig fault or journal failure; see detail
    too_many_voids,
  };
  Reason reason = Reason::complete;
  std::string detail;
  base::Instant at;
  bool operator==(const Ended&) const = default;
};

using Record = std::variant<Header, Host, Segment, TrialPlanned, TrialDone, Heard, ListenerState,
                            ReferenceShift, LeaveEnded, Moved, RawLine, Ended, ClockSet, LeaveGiven,
                            Disturbance, PowerCycle>;

/// One line of a journal: where it stands and what it says.
struct Entry {
  std::uint64_t sequence = 0;  ///< from 0, without holes
  Record record;
  bool operator==(const Entry&) const = default;
};

[[nodiscard]] std::string_view to_text(Ended::Reason reason);

}  // namespace plexor::journal
