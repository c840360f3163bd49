#include "analysis/response/up_and_down.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <stdexcept>

namespace plexor::analysis {

std::optional<UpDownEstimate> up_and_down(std::span<const UpDownTrial> trials, double step) {
  if (!(step > 0.0)) throw std::domain_error("up and down: a step must be above 0");
  const auto responses = std::ranges::count_if(trials, &UpDownTrial::responded);
  const auto failures = std::ssize(trials) - responses;
  if (responses == 0 || failures == 0) return std::nullopt;
  UpDownEstimate found{.from_responses = responses <= failures};
  double lowest = std::numeric_limits<double>::infinity();
  for (const UpDownTrial& trial : trials) {
    if (trial.responded == found.from_responses) lowest = std::min(lowest, trial.strength);
  }
  for (const UpDownTrial& trial : trials) {
    if (trial.responded != found.from_responses) continue;
    const auto steps = static_cast<std::uint64_t>(std::llround((trial.strength - lowest) / step));
    ++found.used;
    found.a += steps;
    found.b += steps * steps;
  }
  const auto n = static_cast<double>(found.used);
  const auto a = static_cast<double>(found.a);
  found.m = (n * static_cast<double>(found.b) - a * a) / (n * n);
  found.median = lowest + step * (a / n + (found.from_responses ? -0.5 : 0.5));
  if (found.m > 0.3) found.sd = 1.620 * step * (found.m + 0.029);
  return found;
}

}  // namespace plexor::analysis
