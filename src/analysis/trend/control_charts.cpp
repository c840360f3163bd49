#include "analysis/trend/control_charts.hpp"

#include <algorithm>
#include <cmath>
#include <stdexcept>

namespace plexor::analysis {

Cusum cusum(std::span<const double> figures, double target, double slack, double decision) {
  Cusum found;
  double high = 0.0;
  double low = 0.0;
  for (std::size_t i = 0; i < figures.size(); ++i) {
    high = std::max(0.0, high + figures[i] - target - slack);
    low = std::max(0.0, low + target - slack - figures[i]);
    found.high.push_back(high);
    found.low.push_back(low);
    if (!found.first_signal && std::max(high, low) > decision) found.first_signal = i;
  }
  return found;
}

Ewma ewma(std::span<const double> figures, double target, double sd, double weight, double limit) {
  if (!(weight > 0.0 && weight <= 1.0)) {
    throw std::domain_error("control chart: a weight lies above 0 and is at most 1");
  }
  Ewma found;
  const double variance = weight / (2.0 - weight);
  found.steady_width = limit * sd * std::sqrt(variance);
  double mean = target;
  for (std::size_t i = 0; i < figures.size(); ++i) {
    mean = weight * figures[i] + (1.0 - weight) * mean;
    const double forgotten = std::pow(1.0 - weight, 2.0 * static_cast<double>(i + 1));
    found.means.push_back(mean);
    found.widths.push_back(limit * sd * std::sqrt(variance * (1.0 - forgotten)));
    if (!found.first_signal && std::abs(mean - target) > found.widths.back())
      found.first_signal = i;
  }
  return found;
}

}  // namespace plexor::analysis
