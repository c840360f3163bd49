#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "analysis/results.hpp"

// How figures of a surface are written: the same on the terminal, on pages and in tables.

namespace plexor::report {

/// "0.493 m/s" from the ln of it; "0.493" of a drive.
[[nodiscard]] std::string strike_text(double ln_strike, std::string_view unit);
/// "0.474 to 0.507 m/s"; an end without a bound is "no bound".
[[nodiscard]] std::string strike_interval_text(const analysis::Interval& ln_interval,
                                               std::string_view unit);
/// "1.46 mJ", of a plunger of this mass; an en dash where the mass or the speed is not known.
[[nodiscard]] std::string energy_text(double ln_m_s, const journal::RigFacts& rig);

/// "near" of the scenario's spots, or the rig's where the scenario has none.
[[nodiscard]] std::string spot_name(const analysis::Results& results, std::uint32_t spot);

/// What advice says first: "threshold 180 LSB, lockout 112 ms", or why there is none.
[[nodiscard]] std::string advice_text(const analysis::ChannelSignal& channel,
                                      std::string_view unit);
/// What a channel showed at one spot, a sentence each: peak, lines, decay, ring-down, change.
[[nodiscard]] std::vector<std::string> signal_sentences(const analysis::SpotSignal& spot,
                                                        std::string_view unit);

/// With several spots: what place and distance do to detection and to the peak, a sentence each.
[[nodiscard]] std::vector<std::string> map_sentences(const analysis::Results& results);
/// From the spot to the sensor of this device, in mm; nothing where either is not told.
[[nodiscard]] std::optional<double> distance_mm(const analysis::Results& results,
                                                std::uint32_t spot, std::size_t device);

}  // namespace plexor::report
