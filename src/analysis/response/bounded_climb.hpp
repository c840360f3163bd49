#pragma once

#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <span>

#include "analysis/response/binary_response.hpp"

// The way to the largest likelihood of a curve with up to four parameters, each within bounds.

namespace plexor::analysis {

inline constexpr std::size_t most_parameters = 4;
using Parameters = std::array<double, most_parameters>;

/// A share of responses, what is left of it to 1 (each exact where it is tiny), and what the share
/// changes by with each parameter.
struct ShareAt {
  double share = 0.0;
  double rest = 1.0;
  Parameters by{};
};

/// Where each parameter may be; held where both ends are equal.
struct Box {
  Parameters lower{};
  Parameters upper{};
};

/// Log likelihood (without the binomial coefficients), its derivatives and Fisher's information.
struct LikelihoodAt {
  double log_likelihood = 0.0;
  Parameters score{};
  std::array<Parameters, most_parameters> information{};
};

/// `curves.with(at)` is the curve of these parameters, which gives the ShareAt of a strength.
template <typename Curves>
LikelihoodAt likelihood_at(std::span<const Dose> doses, const Parameters& at,
                           const Curves& curves) {
  constexpr double least = 1e-300;
  const auto curve = curves.with(at);
  LikelihoodAt sums;
  for (const Dose& dose : doses) {
    const ShareAt point = curve(dose.strength);
    const double share = std::fmax(point.share, least);
    const double rest = std::fmax(point.rest, least);
    const auto responded = static_cast<double>(dose.responded);
    const auto failed = static_cast<double>(dose.trials - dose.responded);
    if (dose.responded > 0) sums.log_likelihood += responded * std::log(share);
    if (dose.responded < dose.trials) sums.log_likelihood += failed * std::log(rest);
    const double push = responded / share - failed / rest;
    const double weight = static_cast<double>(dose.trials) / share / rest;
    for (std::size_t i = 0; i < most_parameters; ++i) {
      if (point.by[i] == 0.0) continue;
      sums.score[i] += push * point.by[i];
      const double weighted = weight * point.by[i];
      for (std::size_t j = 0; j <= i; ++j) sums.information[i][j] += weighted * point.by[j];
    }
  }
  return sums;
}

/// Which parameters can still move: not held, and not pushed against an end.
[[nodiscard]] std::array<bool, most_parameters> movable(const Box& box, const Parameters& at,
                                                        const Parameters& score);

/// Solves (information + damping * its diagonal) * step = score for those that can move, 0 for the
/// others. Only the lower triangle of the information is read.
[[nodiscard]] Parameters damped_step(const LikelihoodAt& here,
                                     const std::array<bool, most_parameters>& moves,
                                     double damping);

/// `at` moved by `step`, brought back into the box.
[[nodiscard]] Parameters moved_within(const Box& box, const Parameters& at, const Parameters& step);

struct Climbed {
  Parameters at{};
  double log_likelihood = -std::numeric_limits<double>::infinity();
};

/// Fisher scoring within the box, damped where a full step does not gain (Levenberg 1944, Q Appl
/// Math 2:164; Marquardt 1963, SIAM J 11:431); ends where no more than `enough` is to be gained.
/// The likelihood never falls on the way, so the end is a top near `start`, not always the highest.
template <typename Curves>
Climbed climb_within(std::span<const Dose> doses, const Box& box, const Parameters& start,
                     double enough, const Curves& curves) {
  constexpr int most_steps = 200;
  constexpr double most_damping = 1e9;
  Climbed best{.at = moved_within(box, start, {})};
  LikelihoodAt here = likelihood_at(doses, best.at, curves);
  best.log_likelihood = here.log_likelihood;
  double damping = 0.0;
  for (int i = 0; i < most_steps && damping < most_damping; ++i) {
    const auto moves = movable(box, best.at, here.score);
    const Parameters next = moved_within(box, best.at, damped_step(here, moves, damping));
    double to_gain = 0.0;
    for (std::size_t j = 0; j < most_parameters; ++j) {
      to_gain += here.score[j] * (next[j] - best.at[j]);
    }
    if (damping == 0.0 && std::abs(to_gain) <= enough) break;
    const LikelihoodAt there = likelihood_at(doses, next, curves);
    if (there.log_likelihood > here.log_likelihood) {
      best = {.at = next, .log_likelihood = there.log_likelihood};
      here = there;
      damping = damping > 1e-3 ? damping / 10.0 : 0.0;
    } else {
      if (std::abs(to_gain) <= enough) break;
      damping = damping > 0.0 ? damping * 8.0 : 1e-2;
    }
  }
  return best;
}

}  // namespace plexor::analysis
