#include "analysis/response/scaled_doses.hpp"

#include <boost/math/distributions/normal.hpp>
#include <stdexcept>

namespace plexor::analysis {

void need_of_response(bool condition, const char* what) {
  if (!condition) throw std::domain_error(what);
}

void need_doses(std::span<const Dose> doses) {
  for (const Dose& dose : doses) {
    need_of_response(dose.responded <= dose.trials, "response: more responses than trials");
    need_of_response(std::isfinite(dose.strength), "response: a strength must be finite");
  }
}

double two_sided_z(double confidence) {
  need_of_response(confidence > 0.0 && confidence < 1.0,
                   "response: confidence must lie between 0 and 1");
  return quantile(boost::math::normal(), 0.5 + confidence / 2.0);
}

std::vector<Dose> merged(std::span<const Dose> doses) {
  std::vector<Dose> sorted;
  for (const Dose& dose : doses) {
    if (dose.trials > 0) sorted.push_back(dose);
  }
  std::ranges::sort(sorted, {}, &Dose::strength);
  std::vector<Dose> result;
  for (const Dose& dose : sorted) {
    if (result.empty() || result.back().strength < dose.strength) {
      result.push_back(dose);
    } else {
      result.back().responded += dose.responded;
      result.back().trials += dose.trials;
    }
  }
  return result;
}

}  // namespace plexor::analysis
