#pragma once

#include <cstdint>
#include <optional>

// How likely a plan is to pass, and how much it takes to pass more surely. Exact: binomial and
// Poisson probabilities of the very bounds that will judge (Clopper-Pearson, Garwood), no normal
// approximation.

namespace plexor::analysis {

/// That of n trials at most `allowed` fail, where each fails with probability `failure`.
[[nodiscard]] double chance_of_few_failures(std::uint64_t n, std::uint64_t allowed, double failure);

/// Fewest trials with which the upper bound of the failure share clears `most` at `confidence` with
/// probability `power` or more, if each truly fails with probability `failure` (below `most`).
/// Nothing if ten million are not enough.
[[nodiscard]] std::optional<std::uint64_t> trials_for_power(double most, double confidence,
                                                            double failure, double power);

/// That at most `allowed` incidents come in so many hours, at a true rate.
[[nodiscard]] double chance_of_few_incidents(double hours, std::uint64_t allowed, double per_hour);

/// Fewest hours with which the upper bound of the rate clears `limit` at `confidence` with
/// probability `power` or more, at a true rate below the limit. Nothing if that takes more than
/// a million incidents.
[[nodiscard]] std::optional<double> hours_for_power(double limit, double confidence,
                                                    double per_hour, double power);

}  // namespace plexor::analysis
