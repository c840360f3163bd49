#pragma once

#include <algorithm>
#include <cstdint>
#include <vector>

#include "base/search.hpp"

// Distributions of counts as exact tests need them; only for files of this room.

namespace plexor::analysis::comparing {

/// How many of `total` successes fall to the first `first` of first + second trials when each
/// choice is equally likely (hypergeometric). One value is the ratio of three of Boost's binomials
/// (the identity of Loader 2000, "Fast and accurate computation of binomial probabilities"); tails
/// follow by the ratio of neighbours, so that all tables of one test cost little. first, second >=
/// 1; total <= first + second <= 4 * 10^9.
class SharedSuccesses {
 public:
  SharedSuccesses(std::uint64_t first, std::uint64_t second, std::uint64_t total);

  [[nodiscard]] std::uint64_t lowest() const { return total_ > second_ ? total_ - second_ : 0; }
  [[nodiscard]] std::uint64_t highest() const { return total_ < first_ ? total_ : first_; }
  [[nodiscard]] std::uint64_t mode() const;
  [[nodiscard]] double exactly(std::uint64_t count) const;
  [[nodiscard]] double at_most(std::uint64_t count) const;
  [[nodiscard]] double at_least(std::uint64_t count) const;

 private:
  [[nodiscard]] double sum_from(std::uint64_t count) const;  ///< upwards, above the mode
  [[nodiscard]] double sum_to(std::uint64_t count) const;    ///< downwards, below the mode

  std::uint64_t first_;
  std::uint64_t second_;
  std::uint64_t total_;
};

/// Successes among `trials` of this probability.
class BinomialCount {
 public:
  BinomialCount(std::uint64_t trials, double probability)
      : trials_(trials), probability_(probability) {}

  [[nodiscard]] static std::uint64_t lowest() { return 0; }
  [[nodiscard]] std::uint64_t highest() const { return trials_; }
  [[nodiscard]] std::uint64_t mode() const;
  [[nodiscard]] double exactly(std::uint64_t count) const;
  [[nodiscard]] double at_most(std::uint64_t count) const;
  [[nodiscard]] double at_least(std::uint64_t count) const;

 private:
  std::uint64_t trials_;
  double probability_;
};

/// The probabilities of the counts first, first + 1, ...; what is left out is negligible.
struct ListedCounts {
  std::uint64_t first = 0;
  std::vector<double> probability = {};
};

/// Those of the counts 0 .. most that are not negligible, outwards from the expected one.
template <typename Mass>
ListedCounts list_counts(double expected, std::uint64_t most, Mass mass) {
  constexpr double negligible_mass = 1e-20;
  const auto mode = std::min(most, static_cast<std::uint64_t>(expected));
  ListedCounts listed{.first = mode};
  while (listed.first > 0 && mass(listed.first - 1) > negligible_mass) --listed.first;
  for (std::uint64_t count = listed.first; count <= most; ++count) {
    const double probability = mass(count);
    if (count > mode && probability < negligible_mass) break;
    listed.probability.push_back(probability);
  }
  return listed;
}

/// The probability of all counts that are at most as probable as `seen`. Decimal inputs are rarely
/// exact in binary, so a count that is more probable by less than 1 in 10^7 counts as a tie.
template <typename Counts>
double as_improbable_as(const Counts& counts, std::uint64_t seen) {
  const double limit = counts.exactly(seen) * (1.0 + 1e-7);
  const std::uint64_t mode = counts.mode();
  if (counts.exactly(mode) <= limit) return 1.0;
  if (seen < mode) {
    const std::uint64_t other =
        base::first_where(mode, counts.highest() + 1,
                          [&](std::uint64_t count) { return counts.exactly(count) <= limit; });
    return counts.at_most(seen) + counts.at_least(other);
  }
  const std::uint64_t kept = base::first_where(
      counts.lowest(), mode, [&](std::uint64_t count) { return counts.exactly(count) > limit; });
  return counts.at_least(seen) + (kept == counts.lowest() ? 0.0 : counts.at_most(kept - 1));
}

}  // namespace plexor::analysis::comparing
