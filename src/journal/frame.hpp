#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

// What reader and writer must agree on. FORMAT.md says it for people.

namespace plexor::journal {

/// A longer line is damage to the reader and refused by the writer, so that
/// neither ever needs more memory than a small multiple of this.
inline constexpr std::size_t max_line_bytes = std::size_t{16} << 20;

/// Instants and durations of a run lie within +-2^60 ns (36 years) and those of
/// the system's clocks within +-2^62 ns, so a reader can add several without overflow.
inline constexpr std::int64_t max_run_ns = std::int64_t{1} << 60;
inline constexpr std::int64_t max_system_ns = std::int64_t{1} << 62;
/// No zone is farther from UTC than a day.
inline constexpr std::int32_t max_utc_offset_s = 86'400;
/// What other JSON readers hold exactly.
inline constexpr std::uint64_t max_sequence = std::uint64_t{1} << 53;
/// 1 km/s: far above any tapper, far below overflow in sums.
inline constexpr std::int64_t max_strike_um_s = 1'000'000'000;

/// As many devices as a rig file may have.
inline constexpr std::size_t max_devices = 16;
inline constexpr std::size_t max_listeners = 8;  ///< of one device
inline constexpr std::size_t max_channels = 16;
inline constexpr std::int64_t max_rate_hz = 1'000'000'000;
inline constexpr std::int64_t max_surface_um = 1'000'000'000;

/// CRC-32/ISO-HDLC.
[[nodiscard]] std::uint32_t checksum(std::string_view bytes);

/// Begins a line at the end of `out`; the checksum is filled in by close_line.
void open_line(std::string& out);
/// Ends the line that began at byte `begin` of `out`: checksum and newline.
void close_line(std::string& out, std::size_t begin);

/// Why a line (without its newline) is not what close_line made; nothing if it is.
[[nodiscard]] std::optional<std::string_view> frame_problem(std::string_view line);

}  // namespace plexor::journal
