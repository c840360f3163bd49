#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/time.hpp"
#include "rig/calibration.hpp"
#include "safety/limits.hpp"
#include "safety/thermal.hpp"

namespace plexor::rig {

/// The newest rig file format this build reads.
inline constexpr int format_version = 1;

enum class RigKind : std::uint8_t { simulated };  // real lines come with src/lines

/// What senses that the plunger touched the surface.
enum class ContactKind : std::uint8_t { none, tip_switch };

/// A device under test, as far as the controller knows it.
struct Device {
  std::string name;                  ///< for people: "panel"
  std::string version;               ///< firmware release as configured
  base::Duration line_time{};        ///< time its message spends on the line, where known
  base::Duration pattern_end_gap{};  ///< its own wait for the end of a rhythm, where known
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
  std::optional<Calibration> calibration;
  std::vector<Device> devices;  ///< at least one
};

/// Reads and checks a rig file's text; the table [simulated] is left to
/// src/virtual (parse_simulation). Throws base::InputError.
[[nodiscard]] RigFile parse_rig(std::string_view text, const std::string& file);

[[nodiscard]] std::string_view to_text(ContactKind kind);

}  // namespace plexor::rig
