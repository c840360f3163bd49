#pragma once

#include <vector>

// Only for files of this folder.

namespace plexor::analysis::comparing {

/// A probability for each total 0 .. N of a binomial count.
using ByTotal = std::vector<double>;

/// The largest mean of `probability` over a binomial total, whatever the rate (the largest value of
/// a Bernstein polynomial). No rate gives more than 2.5 * 10^-7 of the largest probability above
/// it.
///
/// With the angle asin(sqrt(rate)) in place of the rate, the mean bends nowhere more than 4 N times
/// the range of the probabilities: its second derivative is the mean of score^2 - information,
/// whose two terms have the mean 4 N each. That bounds it between the angles at which it was
/// computed, and the search ends when no other angle can give noticeably more. N >= 1.
[[nodiscard]] double largest_mean(const ByTotal& probability);

}  // namespace plexor::analysis::comparing
