#pragma once

#include <cstdint>
#include <span>

// All differences between two sorted samples, counted without being listed; only for files of this
// folder.

namespace plexor::analysis::comparing {

/// Two unanswered trials (+infinity) are tied.
inline double difference(double first, double second) {
  return first == second ? 0.0 : first - second;
}

/// Throws std::domain_error for a sample that is not sorted or holds NaN.
void require_samples(std::span<const double> first, std::span<const double> second);

/// first[i] - second[j] of two sorted samples. They grow with i and fall with j, so one walk along
/// both counts those below any value. The samples must outlive it.
class Differences {
 public:
  Differences(std::span<const double> first, std::span<const double> second)
      : first_(first), second_(second) {}

  [[nodiscard]] std::uint64_t count() const { return first_.size() * second_.size(); }
  [[nodiscard]] std::uint64_t at_most(double value) const;
  /// The smallest difference above a value; the value itself if there is none.
  [[nodiscard]] double next_above(double value) const;
  /// The rank-th smallest, from 1: found by halving the doubles themselves, so it is exact.
  [[nodiscard]] double at_rank(std::uint64_t rank) const;

 private:
  std::span<const double> first_;
  std::span<const double> second_;
};

}  // namespace plexor::analysis::comparing
