#pragma once

#include <span>

namespace plexor::physics {

/// Time that characters take on a serial line with 8N1 framing: 10 bits each.
[[nodiscard]] double serial_line_time_s(int characters, double baud);

/// Longest wait of a frame for a sleeping Wi-Fi station: `dtim` beacon intervals
/// of `beacon_tu` time units (1.024 ms). The mean wait is half of it.
[[nodiscard]] double dtim_longest_wait_s(double beacon_tu, int dtim);

/// Standard uncertainty of a value that lies anywhere in an interval of this
/// full width: width / (2 sqrt 3). JCGM 100:2008 (GUM), 4.3.7.
[[nodiscard]] double rectangular_uncertainty(double full_width);

/// Root of the sum of squares: independent contributions, each with sensitivity 1.
/// JCGM 100:2008 (GUM), 5.1.2.
[[nodiscard]] double combined_uncertainty(std::span<const double> standard_uncertainties);

}  // namespace plexor::physics
