#include "judge/sequential_walk.hpp"

#include <algorithm>
#include <boost/math/distributions/binomial.hpp>
#include <boost/math/distributions/poisson.hpp>
#include <cmath>
#include <numeric>
#include <stdexcept>
#include <utility>

namespace plexor::judge {

namespace {

/// The failures in one stretch of exposure.
struct StretchChances {
  std::vector<double> exactly;  ///< [failures], up to the most that is asked for
  std::vector<double> above;    ///< [failures]: more than so many
};

/// Fills `exactly` from its likeliest place outwards, so that none vanishes which is not truly
/// small; `up(m)` is the chance of m + 1 over that of m, `down(m)` that of m - 1 over that of m.
template <typename Up, typename Down>
void fill_from(std::size_t start, double chance, StretchChances& to, Up up, Down down) {
  to.exactly[start] = chance;
  for (std::size_t m = start; m + 1 < to.exactly.size(); ++m)
    to.exactly[m + 1] = to.exactly[m] * up(static_cast<double>(m));
  for (std::size_t m = start; m > 0; --m)
    to.exactly[m - 1] = to.exactly[m] * down(static_cast<double>(m));
}

void fill_binomial(double trials, double p, StretchChances& to) {
  const boost::math::binomial_distribution<double> failures(trials, p);
  const double most = static_cast<double>(to.exactly.size() - 1);
  const double start = std::min({most, trials, std::floor((trials + 1.0) * p)});
  const double odds = p / (1.0 - p);
  fill_from(
      static_cast<std::size_t>(start), pdf(failures, start), to,
      [&](double m) { return m < trials ? (trials - m) / (m + 1.0) * odds : 0.0; },
      [&](double m) { return m / (trials - m + 1.0) / odds; });
  to.above.back() = most < trials ? cdf(complement(failures, most)) : 0.0;
}

void fill_poisson(double mean, StretchChances& to) {
  if (mean <= 0.0) {
    std::ranges::fill(to.exactly, 0.0);
    to.exactly.front() = 1.0;
    to.above.back() = 0.0;
    return;
  }
  const boost::math::poisson_distribution<double> failures(mean);
  const double most = static_cast<double>(to.exactly.size() - 1);
  const double start = std::min(most, std::floor(mean));
  fill_from(
      static_cast<std::size_t>(start), pdf(failures, start), to,
      [&](double m) { return mean / (m + 1.0); }, [&](double m) { return m / mean; });
  to.above.back() = cdf(complement(failures, most));
}

class Walker {
 public:
  Walker(const SequentialDesign& design, double failure_rate)
      : design_(design), rate_(failure_rate) {
    walk_.passed.resize(design.pass_from.size());
    walk_.running.resize(design.fail_until.size());
    walk_.running[0] = 1.0;
    settle();
  }

  SequentialWalk to(double exposure) {
    for (const double limit : limits_before(exposure)) advance(limit);
    advance(exposure);
    walk_.average =
        rate_ > 0.0 ? mean_failures() / rate_ : std::min(exposure, design_.pass_from[0]);
    return std::move(walk_);
  }

 private:
  /// Every exposure in between at which passing or failing changes, in order.
  [[nodiscard]] std::vector<double> limits_before(double exposure) const {
    std::vector<double> limits = design_.pass_from;
    limits.insert(limits.end(), design_.fail_until.begin(), design_.fail_until.end());
    std::erase_if(limits, [&](double limit) { return limit <= 0.0 || limit >= exposure; });
    std::ranges::sort(limits);
    limits.erase(std::unique(limits.begin(), limits.end()), limits.end());
    return limits;
  }

  void advance(double exposure) {
    if (fewest_ > most_) return;
    if (exposure > exposure_) spread(exposure - exposure_);
    exposure_ = exposure;
    settle();
  }

  /// Lets pass what passes here, and allows the failures that no longer fail.
  void settle() {
    for (; fewest_ < walk_.passed.size() && design_.pass_from[fewest_] <= exposure_; ++fewest_)
      walk_.passed[fewest_] = std::exchange(walk_.running[fewest_], 0.0);
    while (most_ + 1 < design_.fail_until.size() && design_.fail_until[most_ + 1] <= exposure_)
      ++most_;
  }

  void spread(double stretch) {
    fill_chances(stretch);
    double failed = 0.0;
    for (std::size_t after = most_ + 1; after-- > fewest_;) {
      double reached = 0.0;
      for (std::size_t before = fewest_; before <= after; ++before)
        reached += walk_.running[before] * chances_.exactly[after - before];
      failed += walk_.running[after] * chances_.above[most_ - after];
      walk_.running[after] = reached;
    }
    walk_.failed += failed;
    failures_when_failed_ += failed * static_cast<double>(most_ + 1);
  }

  void fill_chances(double stretch) {
    chances_.exactly.resize(most_ - fewest_ + 1);
    chances_.above.resize(chances_.exactly.size());
    if (design_.aim.kind == RateKind::detection)
      fill_binomial(stretch, rate_, chances_);
    else
      fill_poisson(stretch * rate_, chances_);
    for (std::size_t m = chances_.above.size() - 1; m > 0; --m)
      chances_.above[m - 1] = chances_.above[m] + chances_.exactly[m];
  }

  [[nodiscard]] double mean_failures() const {
    double mean = failures_when_failed_;
    for (const auto* stands : {&walk_.passed, &walk_.running})
      for (std::size_t failures = 1; failures < stands->size(); ++failures)
        mean += static_cast<double>(failures) * (*stands)[failures];
    return mean;
  }

  const SequentialDesign& design_;
  double rate_;
  double exposure_ = 0.0;
  std::size_t fewest_ = 0;  ///< failures that a running test may have, from here
  std::size_t most_ = 0;    ///< to here, included
  double failures_when_failed_ = 0.0;
  StretchChances chances_;
  SequentialWalk walk_;
};

}  // namespace

SequentialWalk walk(const SequentialDesign& design, double true_rate, double exposure) {
  const bool whole = design.aim.kind == RateKind::alarms || exposure == std::floor(exposure);
  if (!(exposure >= 0.0 && exposure <= design.longest && whole))
    throw std::domain_error("sequential test: no such exposure");
  return Walker(design, failures_per_exposure(design.aim.kind, true_rate)).to(exposure);
}

SequentialChances sequential_chances(const SequentialDesign& design, double true_rate) {
  const SequentialWalk end = walk(design, true_rate, design.longest);
  return {.pass = std::reduce(end.passed.begin(), end.passed.end()),
          .fail = end.failed,
          .undecided = std::reduce(end.running.begin(), end.running.end()),
          .average = end.average};
}

}  // namespace plexor::judge
