#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "analysis/comparing/rate_ratio.hpp"
#include "analysis/results.hpp"

// False alarms that come in bursts: some hours have many, most have none. Then Garwood's interval,
// which takes them for one steady rate, is too narrow.

namespace plexor::analysis {

/// Hours are called overdispersed where the exact dispersion test errs with at most this
/// probability. Fewer blocks say too little about their own scatter.
inline constexpr double dispersion_error = 0.05;
inline constexpr std::size_t fewest_hour_blocks = 4;

/// Each hour of listening with its alarms, the last one up to half an hour longer or shorter.
/// `alarms_h`: when they came, in hours of listening. Nothing listened to: no block.
[[nodiscard]] std::vector<Events> hour_blocks(std::span<const double> alarms_h, double listened_h);

/// Nothing for fewer than fewest_hour_blocks.
[[nodiscard]] std::optional<HourScatter> hour_scatter(std::span<const Events> blocks);

/// The wider of Garwood's interval and one by hour blocks: the counts divided by their scatter
/// index (a Poisson variable with a scale: McCullagh & Nelder 1989, Generalized Linear Models,
/// section 6.2, from memory), which is enlarged by the square of Student's quantile by the normal
/// one, because the index is itself estimated from the blocks. For many alarms that is Student's
/// interval on the blocks' rates. tests/coverage/hour_coverage_test.cpp shows what it covers.
[[nodiscard]] Interval rate_by_hours(Events all, const HourScatter& scatter, double confidence,
                                     Sides sides);

/// That the alarms come in bursts. `tested_meanwhile`: by a sequential test, which takes them for
/// one steady rate.
[[nodiscard]] std::string scatter_words(const HourScatter& scatter, bool tested_meanwhile);

}  // namespace plexor::analysis
