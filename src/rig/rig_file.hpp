#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "base/surface_point.hpp"
#include "base/time.hpp"
#include "rig/calibration.hpp"
#include "rig/listener_settings.hpp"
#include "safety/limits.hpp"
#include "safety/thermal.hpp"
#include "safety/wiring.hpp"

namespace plexor::rig {

/// The newest rig file format this build reads.
inline constexpr int format_version = 1;

enum class RigKind : std::uint8_t {
  simulated,  ///< physics in virtual time, within this program
  lines,      ///< lines of a chip, in real time; what is behind them may be `plexor simulate`
};

/// What senses that the plunger touched the surface.
enum class ContactKind : std::uint8_t {
  none,
  tip_switch,    ///< closed while the tip touches
  coil_current,  ///< the current's dip at the stop; only pulses that outlast the transit show it
  pickup,        ///< hears the surface, and every mug put down on it: it only confirms a tap
};

/// How contact is sensed.
struct Contact {
  ContactKind kind = ContactKind::none;
  base::Duration lag{};       ///< from touching to the line's edge, where known
  base::Duration debounce{};  ///< edges sooner after a contact than this are its own

  [[nodiscard]] bool is_sensed() const { return kind != ContactKind::none; }
  [[nodiscard]] bool only_confirms() const { return kind == ContactKind::pickup; }
};

/// A flag on the plunger that passes a light barrier shortly before contact, for calibration.
struct SpeedGate {
  safety::Wire wire;          ///< active while the flag covers the barrier
  double flag_m = 0.0;        ///< width of the flag, along its way
  double to_contact_m = 0.0;  ///< from where the flag leaves the barrier to where the tip touches

  /// Speed at contact from when the flag was in the barrier: the derivative at contact of the
  /// parabola through the three known places (Lagrange's formula for three points).
  /// Both durations positive.
  [[nodiscard]] double speed_m_s(base::Duration covered, base::Duration left_to_contact) const;
};

/// What a blow leaves behind has rung out by then, and a device that took it for a knock has said
/// so. From experience with slow firmware, no source.
inline constexpr base::Duration usual_disturbance_tail = std::chrono::seconds{5};

/// A line that is active while something may shake the surface.
struct DisturbanceLine {
  std::string name;  ///< of what does: "kiln door"
  safety::Wire wire;
  base::Duration tail{};  ///< for so long afterwards things still ring
};

/// A switch in a device's own supply, never the coil's.
struct PowerCycling {
  /// Active while the power is taken away, so that a line that nobody drives leaves the device its
  /// power. Kind lines only: the virtual rig switches without one.
  std::optional<safety::Wire> line{};
  base::Duration off{};             ///< for so long it is taken away
  base::Duration boot{};            ///< and so long the device needs then
  std::uint32_t most_per_hour = 0;  ///< what hangs more often is left alone
};

/// By what it is told that a device hangs, and what brings it back.
struct RecoverySettings {
  std::uint32_t silent_after_misses = 0;  ///< rhythms in a row that expect an event
  base::Duration silent_after{};          ///< or a listener that is down for so long
  std::optional<PowerCycling> power{};    ///< nothing: nobody can restart it
};

/// A device under test, as far as the controller knows it.
struct Device {
  std::string name;                        ///< for people: "panel"
  std::string version;                     ///< firmware release as configured
  base::Duration line_time{};              ///< time its message spends on the line, where known
  base::Duration pattern_end_gap{};        ///< its own wait for the end of a rhythm, where known
  std::string position{};                  ///< where on the surface it stands; empty: not told
  std::optional<base::SurfacePoint> at{};  ///< where its sensor is, where that is told
  std::optional<RecoverySettings> recovery{};
  // Kind lines only:
  /// By what its messages come in, at least one. The same event over two ways is one
  /// event: verdicts are about the first way, the others are shown beside it.
  std::vector<ListenerSettings> listeners{};
  std::optional<IdentitySettings> identity{};
  std::optional<PrepareSettings> prepare{};
};

/// The way over which a device is asked who it is: its first serial port, if it has one.
[[nodiscard]] const ListenerSettings* asked_way_of(const Device& device);

/// What a line of a channel says.
enum class SampleLine : std::uint8_t {
  value,           ///< a sample's code, and nothing else: samples are told apart by counting
  time_and_value,  ///< "12.250,2048": when it was taken, in ms of the sender's own clock
};

/// A file or FIFO that another program writes, line by line.
struct SampleFile {
  std::string path{};
};

/// Where a channel's samples come from.
struct SampleSource {
  std::variant<SerialSettings, SampleFile> way{};  ///< the port's `format` is not used
  SampleLine line = SampleLine::value;
};

/// "port /dev/ttyUSB1", "file /run/samples": for people and to see what is shared; empty where a
/// port is found by its USB identity.
[[nodiscard]] std::string place_of(const SampleSource& source);

/// A converter whose samples come to the controller, a device's or a reference sensor's.
struct Channel {
  std::string name;
  std::optional<std::uint32_t> device{};  ///< index into the rig's; nothing: a reference sensor
  std::int64_t rate_hz = 0;               ///< of its samples
  std::int32_t lowest = 0;                ///< the codes at which it can say no more
  std::int32_t highest = 0;
  std::string unit{};     ///< of a code
  SampleSource source{};  ///< kind lines only

  [[nodiscard]] base::Duration period() const {
    return base::Duration{std::chrono::seconds{1}} / rate_hz;
  }
};

/// Where the tapper stands and how the device is fixed: what a verdict is scoped to.
struct Setting {
  std::string surface;
  std::string spot;
  std::string mounting;
};

/// What to do it with: everything a rig file says except the [simulated] part.
struct RigFile {
  std::string name;
  RigKind kind = RigKind::simulated;
  Setting setting;
  Contact contact;
  safety::Limits limits;
  safety::CoilModel coil;
  std::string coil_sensor;       ///< file with the body's temperature; empty without
  std::string supply_alarm;      ///< file that reads 0 while the supply is up; empty without
  std::uint64_t rated_taps = 0;  ///< the tapper's life by its maker; 0 where unknown
  std::optional<Calibration> calibration;
  std::vector<Device> devices;  ///< at least one
  std::vector<Channel> channels{};
  std::optional<PublishSettings> publish{};  ///< where runs tell how they get on
  std::optional<PostSettings> post{};        ///< where they post their summary
  // Kind lines only:
  std::optional<safety::Wiring> wiring;
  std::optional<SpeedGate> speed_gate;
  std::vector<DisturbanceLine> disturbances{};
  safety::Tiers tiers;
};

/// A calibration in a file of its own, as the rig file names it.
struct CalibrationText {
  std::string file;  ///< for messages
  std::string text;
};
/// Finds the calibration file that a rig file names. Throws base::InputError.
using CalibrationFinder = std::function<CalibrationText(const std::string& name)>;

/// Reads and checks a rig file's text; the table [simulated] is left to
/// src/virtual (parse_simulation). A calibration stands in the file itself, or in
/// the one that `calibration.file` names, found by `find`. Throws base::InputError.
[[nodiscard]] RigFile parse_rig(std::string_view text, const std::string& file,
                                const CalibrationFinder& find = {});

[[nodiscard]] std::string_view to_text(ContactKind kind);

}  // namespace plexor::rig
