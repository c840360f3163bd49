#include "analysis/trend/level_changes.hpp"

#include <algorithm>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>
#include <numeric>
#include <stdexcept>

namespace plexor::analysis {
namespace {

double mean_level(std::span<const double> values) {
  return std::accumulate(values.begin(), values.end(), 0.0) / static_cast<double>(values.size());
}

}  // namespace

double explained_share(std::span<const double> figures, std::span<const double> weights,
                       double least_sd) {
  if (figures.size() != weights.size() || figures.empty()) {
    throw std::domain_error("trend: one weight for each figure");
  }
  const double level = mean_level(figures);
  const double middle = mean_level(weights);
  double together = 0.0;
  double along = 0.0;
  double scatter = 0.0;
  for (std::size_t i = 0; i < figures.size(); ++i) {
    together += (figures[i] - level) * (weights[i] - middle);
    along += (weights[i] - middle) * (weights[i] - middle);
    scatter += (figures[i] - level) * (figures[i] - level);
  }
  if (along <= 0.0 || scatter <= 0.0) return 0.0;
  const double explained = together * together / along;
  const double degrees = std::max(1.0, static_cast<double>(figures.size()) - 2.0);
  const double left = std::max(scatter - explained, degrees * least_sd * least_sd);
  return std::clamp(explained / (explained + left), 0.0, 1.0);
}

double p_of_share(double share, std::size_t figures) {
  if (figures < 3 || share <= 0.0) return 1.0;
  const double degrees = static_cast<double>(figures) - 2.0;
  if (share >= 1.0) return 0.0;
  const double t = std::sqrt(share * degrees / (1.0 - share));
  return 2.0 * cdf(complement(boost::math::students_t(degrees), t));
}

std::vector<double> level_deviances(std::span<const double> figures, double least_sd) {
  std::vector<double> deviances;
  for (std::size_t first = 1; first < figures.size(); ++first) {
    std::vector<double> after(figures.size(), 0.0);
    std::fill(after.begin() + static_cast<std::ptrdiff_t>(first), after.end(), 1.0);
    const double share = explained_share(figures, after, least_sd);
    deviances.push_back(-static_cast<double>(figures.size()) * std::log1p(-share));
  }
  return deviances;
}

}  // namespace plexor::analysis
