#include "analysis/response/bounded_climb.hpp"

#include <algorithm>

namespace plexor::analysis {
namespace {

using SquareMatrix = std::array<Parameters, most_parameters>;

/// Cholesky's lower triangle in place; a diagonal that is no longer above 0 is taken out.
void factorise(SquareMatrix& m) {
  for (std::size_t j = 0; j < most_parameters; ++j) {
    const double whole = m[j][j];
    for (std::size_t k = 0; k < j; ++k) m[j][j] -= m[j][k] * m[j][k];
    const bool is_known = m[j][j] > 1e-13 * whole;
    m[j][j] = is_known ? std::sqrt(m[j][j]) : std::numeric_limits<double>::infinity();
    for (std::size_t i = j + 1; i < most_parameters; ++i) {
      for (std::size_t k = 0; k < j; ++k) m[i][j] -= m[i][k] * m[j][k];
      m[i][j] = is_known ? m[i][j] / m[j][j] : 0.0;
    }
  }
}

Parameters solved(const SquareMatrix& factor, Parameters x) {
  for (std::size_t i = 0; i < most_parameters; ++i) {
    for (std::size_t k = 0; k < i; ++k) x[i] -= factor[i][k] * x[k];
    x[i] /= factor[i][i];
  }
  for (std::size_t i = most_parameters; i-- > 0;) {
    for (std::size_t k = i + 1; k < most_parameters; ++k) x[i] -= factor[k][i] * x[k];
    x[i] /= factor[i][i];
  }
  return x;
}

}  // namespace

std::array<bool, most_parameters> movable(const Box& box, const Parameters& at,
                                          const Parameters& score) {
  std::array<bool, most_parameters> moves{};
  for (std::size_t i = 0; i < most_parameters; ++i) {
    moves[i] = (score[i] > 0.0 && at[i] < box.upper[i]) || (score[i] < 0.0 && at[i] > box.lower[i]);
  }
  return moves;
}

Parameters damped_step(const LikelihoodAt& here, const std::array<bool, most_parameters>& moves,
                       double damping) {
  SquareMatrix system{};
  Parameters step{};
  for (std::size_t i = 0; i < most_parameters; ++i) {
    if (!moves[i]) {
      system[i][i] = 1.0;
      continue;
    }
    step[i] = here.score[i];
    for (std::size_t j = 0; j <= i; ++j) {
      if (moves[j]) system[i][j] = here.information[i][j];
    }
    system[i][i] *= 1.0 + damping;
  }
  factorise(system);
  return solved(system, step);
}

Parameters moved_within(const Box& box, const Parameters& at, const Parameters& step) {
  Parameters to{};
  for (std::size_t i = 0; i < most_parameters; ++i) {
    to[i] = std::clamp(at[i] + step[i], box.lower[i], box.upper[i]);
  }
  return to;
}

}  // namespace plexor::analysis
