#include "analysis/power.hpp"

#include <boost/math/distributions/binomial.hpp>
#include <boost/math/distributions/poisson.hpp>
#include <functional>

#include "analysis/intervals.hpp"
#include "base/search.hpp"

namespace plexor::analysis {
namespace {

/// The fewest allowed failures with which it is enough; nothing if not even a million are. The plan
/// that just allows one more failure is the surer one.
std::optional<std::uint64_t> fewest_allowed(const std::function<bool(std::uint64_t)>& is_enough) {
  constexpr std::uint64_t most_failures = 1'000'000;
  if (is_enough(0)) return 0;
  return base::first_by_doubling(most_failures, is_enough);
}

/// Of listening that just allows so many incidents.
double hours_that_allow(std::uint64_t incidents, double limit, double confidence) {
  return garwood(incidents, 1.0, confidence, Sides::upper).upper / limit;
}

}  // namespace

double chance_of_few_failures(std::uint64_t n, std::uint64_t allowed, double failure) {
  if (allowed >= n) return 1.0;
  return cdf(boost::math::binomial(static_cast<double>(n), failure), static_cast<double>(allowed));
}

std::optional<std::uint64_t> trials_for_power(double most, double confidence, double failure,
                                              double power) {
  const auto is_enough = [&](std::uint64_t allowed) {
    const auto n = trials_to_show(1.0 - most, confidence, allowed);
    return n && chance_of_few_failures(*n, allowed, failure) >= power;
  };
  if (!trials_to_show(1.0 - most, confidence, 0)) return std::nullopt;
  const auto allowed = fewest_allowed(is_enough);
  if (!allowed) return std::nullopt;
  const auto n = trials_to_show(1.0 - most, confidence, *allowed);
  return n && *n <= 10'000'000 ? n : std::nullopt;
}

double chance_of_few_incidents(double hours, std::uint64_t allowed, double per_hour) {
  if (hours * per_hour <= 0.0) return 1.0;
  return cdf(boost::math::poisson(hours * per_hour), static_cast<double>(allowed));
}

std::optional<double> hours_for_power(double limit, double confidence, double per_hour,
                                      double power) {
  const auto allowed = fewest_allowed([&](std::uint64_t incidents) {
    const double hours = hours_that_allow(incidents, limit, confidence);
    return chance_of_few_incidents(hours, incidents, per_hour) >= power;
  });
  if (!allowed) return std::nullopt;
  return hours_that_allow(*allowed, limit, confidence);
}

}  // namespace plexor::analysis
