#pragma once

#include <span>

#include "analysis/intervals.hpp"
#include "analysis/response/binary_response.hpp"

// Intervals of the logistic curve with Firth's penalty by the penalised likelihood (Heinze &
// Schemper 2002, Stat Med 21:2409): for data that one strength divides, where the plain likelihood
// has no top. The slope is at least 0, as in rated_response.hpp. Checked against tests/reference
// (t06).

namespace plexor::analysis {

/// The log likelihood with half the logarithm of the determinant of Fisher's information (of the
/// strengths as they are given). -infinity where the information has none.
[[nodiscard]] double penalised_log_likelihood(std::span<const Dose> doses, double intercept,
                                              double slope);

/// All strengths at which this share may respond. An end is infinite where a flat curve is likely
/// enough. `fit` is fit_penalised of these doses. Throws std::domain_error for a share or a
/// confidence outside (0, 1).
[[nodiscard]] Interval penalised_strength_interval(std::span<const Dose> doses,
                                                   const ResponseFit& fit, double share,
                                                   double confidence);

/// Of the slope; the lower end is 0 where a flat curve is likely enough.
[[nodiscard]] Interval penalised_slope_interval(std::span<const Dose> doses, const ResponseFit& fit,
                                                double confidence);

}  // namespace plexor::analysis
