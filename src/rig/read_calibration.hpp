#pragma once

#include "base/toml_reader.hpp"
#include "rig/calibration.hpp"

namespace plexor::rig {

inline constexpr base::TableReader::Range supply_range_v{1.0, 60.0};  // extra-low, IEC 61140

/// Reads the table [calibration]. Throws base::InputError.
[[nodiscard]] Calibration read_calibration(base::TableReader reader);

}  // namespace plexor::rig
