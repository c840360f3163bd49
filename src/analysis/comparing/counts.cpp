#include "analysis/comparing/counts.hpp"

#include <algorithm>
#include <boost/math/distributions/binomial.hpp>

#include "analysis/comparing/support.hpp"

namespace plexor::analysis::comparing {

namespace {

/// Terms of a sum that add less than this to it are left out; they fall at least geometrically.
constexpr double negligible = 1e-18;

double binomial_mass(std::uint64_t count, std::uint64_t trials, double probability) {
  return pdf(boost::math::binomial(number(trials), probability), number(count));
}

}  // namespace

SharedSuccesses::SharedSuccesses(std::uint64_t first, std::uint64_t second, std::uint64_t total)
    : first_(first), second_(second), total_(total) {
  require(first >= 1 && second >= 1 && total <= first + second && first + second <= 4'000'000'000,
          "comparing: trials of two groups, and successes among them");
}

std::uint64_t SharedSuccesses::mode() const {
  const std::uint64_t likely = (total_ + 1) * (first_ + 1) / (first_ + second_ + 2);
  return std::clamp(likely, lowest(), highest());
}

double SharedSuccesses::exactly(std::uint64_t count) const {
  if (count < lowest() || count > highest()) return 0.0;
  const std::uint64_t trials = first_ + second_;
  const double share = number(total_) / number(trials);
  return binomial_mass(count, first_, share) * binomial_mass(total_ - count, second_, share) /
         binomial_mass(total_, trials, share);
}

double SharedSuccesses::sum_from(std::uint64_t count) const {
  double term = 1.0;
  double sum = 1.0;
  for (std::uint64_t k = count; k < highest() && term > sum * negligible; ++k) {
    term *= number(first_ - k) * number(total_ - k) /
            (number(k + 1) * number(second_ + k + 1 - total_));
    sum += term;
  }
  return sum * exactly(count);
}

double SharedSuccesses::sum_to(std::uint64_t count) const {
  double term = 1.0;
  double sum = 1.0;
  for (std::uint64_t k = count; k > lowest() && term > sum * negligible; --k) {
    term *= number(k) * number(second_ + k - total_) /
            (number(first_ - k + 1) * number(total_ - k + 1));
    sum += term;
  }
  return sum * exactly(count);
}

double SharedSuccesses::at_most(std::uint64_t count) const {
  if (count < lowest()) return 0.0;
  if (count >= highest()) return 1.0;
  return count < mode() ? sum_to(count) : 1.0 - sum_from(count + 1);
}

double SharedSuccesses::at_least(std::uint64_t count) const {
  if (count <= lowest()) return 1.0;
  if (count > highest()) return 0.0;
  return count > mode() ? sum_from(count) : 1.0 - sum_to(count - 1);
}

std::uint64_t BinomialCount::mode() const {
  const double likely = (number(trials_) + 1.0) * probability_;
  return std::min(trials_, static_cast<std::uint64_t>(likely));
}

double BinomialCount::exactly(std::uint64_t count) const {
  return count > trials_ ? 0.0 : binomial_mass(count, trials_, probability_);
}

double BinomialCount::at_most(std::uint64_t count) const {
  if (count >= trials_) return 1.0;
  return cdf(boost::math::binomial(number(trials_), probability_), number(count));
}

double BinomialCount::at_least(std::uint64_t count) const {
  if (count == 0) return 1.0;
  if (count > trials_) return 0.0;
  return cdf(complement(boost::math::binomial(number(trials_), probability_), number(count - 1)));
}

}  // namespace plexor::analysis::comparing
