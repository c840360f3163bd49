#pragma once

#include <cstddef>
#include <span>
#include <vector>

// Whether measured figures in order of time keep one level: normal theory, with the scatter from
// figure to figure as the only measure of chance. Wrong arguments throw std::domain_error.

namespace plexor::analysis {

/// The share of the figures' scatter that a straight line along the weights explains (r squared).
/// `least_sd`: no figure is known better than that, so that a level which never moves but once by
/// the last digit is no discovery.
[[nodiscard]] double explained_share(std::span<const double> figures,
                                     std::span<const double> weights, double least_sd);

/// Two-sided p of such a share among `figures` figures: Student's t with figures - 2 degrees of
/// freedom. 1 for fewer than 3.
[[nodiscard]] double p_of_share(double share, std::size_t figures);

/// Twice the log of the ratio of likelihoods, for each split: [i] of a change before figure i + 1.
/// The largest of them is a change's best place; its p: p_of_share, times the number of splits
/// (the bound of Worsley 1979, JASA 74:365).
[[nodiscard]] std::vector<double> level_deviances(std::span<const double> figures, double least_sd);

}  // namespace plexor::analysis
