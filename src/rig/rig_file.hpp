#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

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
enum class ContactKind : std::uint8_t { none, tip_switch };

/// A device under test, as far as the controller knows it.
struct Device {
  std::string name;                  ///< for people: "panel"
  std::string version;               ///< firmware release as configured
  base::Duration line_time{};        ///< time its message spends on the line, where known
  base::Duration pattern_end_gap{};  ///< its own wait for the end of a rhythm, where known
  // Kind lines only:
  std::optional<ListenerSettings> listener{};  ///< by what its messages come in
  std::optional<IdentitySettings> identity{};
  std::optional<PrepareSettings> prepare{};
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
  ContactKind contact = ContactKind::none;
  safety::Limits limits;
  safety::CoilModel coil;
  std::string coil_sensor;       ///< file with the body's temperature; empty without
  std::string supply_alarm;      ///< file that reads 0 while the supply is up; empty without
  std::uint64_t rated_taps = 0;  ///< the tapper's life by its maker; 0 where unknown
  std::optional<Calibration> calibration;
  std::vector<Device> devices;  ///< at least one
  // Kind lines only:
  std::optional<safety::Wiring> wiring;
  safety::Tiers tiers;
};

/// Reads and checks a rig file's text; the table [simulated] is left to
/// src/virtual (parse_simulation). Throws base::InputError.
[[nodiscard]] RigFile parse_rig(std::string_view text, const std::string& file);

[[nodiscard]] std::string_view to_text(ContactKind kind);

}  // namespace plexor::rig
