#pragma once

#include <cstddef>
#include <string>

#include "base/toml_reader.hpp"
#include "rig/rig_file.hpp"
#include "safety/wiring.hpp"

namespace plexor::rig {

// Parts of a rig file, each read and checked. All throw base::InputError.

inline constexpr std::size_t longest_name = 60;
inline constexpr std::size_t longest_description = 200;

/// A text that people read in one line of a report.
[[nodiscard]] std::string line_of_text(base::TableReader& reader, const std::string& key,
                                       std::size_t longest);

/// `17`, or `{ line = 17, active_low = true }`.
[[nodiscard]] safety::Wire read_wire(base::TableReader& reader, const std::string& key);

/// [[device.listener]], [device.identity] and [device.prepare] of one device. A
/// listener on a line without a chip of its own has an empty one.
void read_listening(base::TableReader& device, Device& into);

}  // namespace plexor::rig
