#include "analysis/response/grouped_fit.hpp"

#include <boost/math/distributions/chi_squared.hpp>

#include "analysis/response/scaled_doses.hpp"

namespace plexor::analysis {
namespace {

struct Expectation {
  double trials = 0.0;
  double responded = 0.0;
  double expected = 0.0;

  [[nodiscard]] double chi_square() const {
    const double off = responded - expected;
    return off * off * trials / (expected * (trials - expected));
  }
  void add(const Expectation& other) {
    trials += other.trials;
    responded += other.responded;
    expected += other.expected;
  }
};

double trials_of(std::span<const Dose> doses) {
  double trials = 0.0;
  for (const Dose& dose : doses) trials += as_real(dose.trials);
  return trials;
}

/// What is too small for a group of its own joins the one before it.
std::vector<Expectation> groups_of(std::span<const Dose> together, const RatedFit& fit) {
  constexpr double most_groups = 10.0;
  constexpr double least_expected = 2.0;
  const double enough = trials_of(together) / most_groups;
  std::vector<Expectation> groups;
  Expectation group;
  for (const Dose& dose : together) {
    const double trials = as_real(dose.trials);
    group.add({trials, as_real(dose.responded), trials * share_at(fit, dose.strength)});
    if (group.trials >= enough && group.expected >= least_expected &&
        group.trials - group.expected >= least_expected) {
      groups.push_back(group);
      group = {};
    }
  }
  if (!groups.empty()) groups.back().add(group);
  return groups;
}

}  // namespace

std::vector<Dose> grouped_doses(std::span<const Dose> doses, std::uint64_t most_groups) {
  std::vector<Dose> together = merged(doses);
  if (together.size() <= most_groups) return together;
  const double size = trials_of(together) / as_real(most_groups);
  std::vector<Dose> groups;
  double seen = 0.0;
  double next_border = 0.0;
  for (const Dose& dose : together) {
    if (seen >= next_border) {
      groups.push_back({});
      while (next_border <= seen) next_border += size;
    }
    Dose& group = groups.back();
    const double trials = as_real(group.trials) + as_real(dose.trials);
    group.strength += as_real(dose.trials) / trials * (dose.strength - group.strength);
    group.responded += dose.responded;
    group.trials += dose.trials;
    seen += as_real(dose.trials);
  }
  return groups;
}

std::optional<GroupedFit> grouped_fit(std::span<const Dose> doses, const RatedFit& fit) {
  const std::vector<Expectation> groups = groups_of(merged(doses), fit);
  GroupedFit found{.groups = groups.size()};
  found.degrees = as_real(found.groups) - 2.0 - (fit.model.guess.is_free ? 1.0 : 0.0) -
                  (fit.model.lapse.is_free ? 1.0 : 0.0);
  if (found.degrees < 1.0) return std::nullopt;
  for (const Expectation& group : groups) found.chi_square += group.chi_square();
  found.p = cdf(complement(boost::math::chi_squared(found.degrees), found.chi_square));
  return found;
}

}  // namespace plexor::analysis
