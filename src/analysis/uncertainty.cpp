#include "analysis/uncertainty.hpp"

#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>

namespace plexor::analysis {

double standard_uncertainty(Knowledge knowledge, double value) {
  switch (knowledge) {
    case Knowledge::normal: return value;
    case Knowledge::rectangular: return value / std::sqrt(3.0);
    case Knowledge::triangular: return value / std::sqrt(6.0);
    case Knowledge::arcsine: return value / std::sqrt(2.0);
    case Knowledge::resolution: return value / std::sqrt(12.0);
    case Knowledge::expanded_k2: return value / 2.0;
  }
  return value;
}

double Budget::combined() const {
  double sum = 0.0;
  for (const Contribution& one : contributions) sum += one.u * one.u;
  return std::sqrt(sum);
}

double Budget::degrees_of_freedom() const {
  double sum = 0.0;
  for (const Contribution& one : contributions) {
    sum += std::pow(one.u, 4) / one.degrees_of_freedom;
  }
  return sum > 0.0 ? std::pow(combined(), 4) / sum : std::numeric_limits<double>::infinity();
}

double Budget::coverage_factor_95() const { return coverage_factor(degrees_of_freedom(), 0.95); }

double coverage_factor(double degrees_of_freedom, double coverage) {
  // A whole number of degrees must not fall to the one below by rounding.
  constexpr double rounding = 1e-9;
  const double upper = 0.5 + coverage / 2.0;
  if (!std::isfinite(degrees_of_freedom)) {
    return boost::math::quantile(boost::math::normal(), upper);
  }
  const double whole = std::max(1.0, std::floor(degrees_of_freedom * (1.0 + rounding)));
  return boost::math::quantile(boost::math::students_t(whole), upper);
}

Budget latency_budget(const journal::RigFacts& rig, const journal::ListenerFacts& listener) {
  Budget budget;
  const auto add = [&budget](const char* source, Knowledge knowledge, base::Duration value) {
    if (value == base::Duration{}) return;
    budget.contributions.push_back({source, standard_uncertainty(knowledge, base::to_ms(value))});
  };
  // A stamp is never early: the width lies behind the arrival.
  add("stamp of the arrival", Knowledge::resolution, listener.arrival_width);
  // In virtual time nothing is stamped. On a real rig the kernel stamps a contact's edge: within
  // 100 us by common practice, no source.
  const bool is_live = listener.arrival_width > base::Duration{};
  if (rig.contact_sensed && is_live) {
    add("stamp of the contact", Knowledge::resolution, std::chrono::microseconds{100});
  }
  if (!rig.contact_sensed) {
    add("contact, planned and not sensed", Knowledge::normal, rig.transit_sd);
  }
  return budget;
}

}  // namespace plexor::analysis
