#include "analysis/figures.hpp"

namespace plexor::analysis {

Proportion proportion_of(std::uint64_t x, std::uint64_t n) {
  Proportion result{.x = x, .n = n, .estimate = {}, .exact = {}, .wilson = {}};
  if (n == 0) return result;
  result.estimate = static_cast<double>(x) / static_cast<double>(n);
  result.exact = clopper_pearson(x, n, display_confidence, Sides::two);
  result.wilson = wilson(x, n, display_confidence, Sides::two);
  return result;
}

AlarmRate alarm_rate_of(std::uint64_t incidents, base::Duration listened) {
  AlarmRate result{
      .incidents = incidents, .hours = to_hours(listened), .per_hour = {}, .exact = {}};
  if (listened <= base::Duration::zero()) return result;
  result.per_hour = static_cast<double>(incidents) / result.hours;
  result.exact = garwood(incidents, result.hours, display_confidence, Sides::two);
  return result;
}

double to_hours(base::Duration duration) { return base::to_s(duration) / 3600.0; }

}  // namespace plexor::analysis
