#pragma once

#include <optional>
#include <span>
#include <vector>

#include "analysis/intervals.hpp"

namespace plexor::analysis {

/// A figure that was estimated, with its interval.
struct Estimated {
  double value = 0.0;
  Interval interval{};
};

/// Where the spread of a rhythm's intervals comes from.
///
/// Wing & Kristofferson 1973, "Response delays and the timing of discrete motor responses",
/// Perception & Psychophysics 14:5-12: interval j = clock j + motor j+1 - motor j, so that
/// var(I_j) = clock_j^2 + 2 motor^2 and cov(I_j, I_j+1) = -motor^2. The clock's deviation is a
/// share of the interval (the generalised law of Weber), so that uneven rhythms count too; and each
/// performance as a whole may be quicker or slower by a tempo of its own, which moves all its
/// intervals together: that alone joins intervals that are no neighbours.
struct VarianceParts {
  Estimated clock_cv{};                    ///< sd of the clock as a share of the interval
  std::optional<Estimated> motor_sd_ms{};  ///< nothing for a single interval
  std::optional<Estimated> tempo_cv{};     ///< between performances; nothing for fewer than three
  bool motor_is_negative =
      false;  ///< what neighbours have in common has the wrong sign: taken as 0
  bool clock_is_negative = false;  ///< the motor delays explain more than there is: taken as 0

  /// What draws an interval's whole spread, tempo included, from clock and motor alone.
  double replay_clock_cv = 0.0;
  double replay_motor_sd_ms = 0.0;
};

/// `rows`: the intervals of each performance in ms, at least two performances of equally many
/// intervals, at least one. By the moments of the model, about each place's own mean. The intervals
/// hold for normal spread and contain the truth in at least `confidence` of cases: the moments'
/// distribution is taken as a shifted gamma one with the model's own first three moments (exact for
/// a single interval), at the larger of two settings of the other parts, and no part exceeds the
/// upper bound of the whole.
[[nodiscard]] VarianceParts variance_parts(std::span<const std::vector<double>> rows,
                                           double confidence);

/// Degrees of freedom of the mean of the diagonal of a covariance matrix (row by row, `size`^2
/// numbers) that was estimated with `degrees` of them: Box 1954, Ann Math Stat 25:290, with the
/// matrix' own moments estimated without bias. Between `degrees` and `size` times as many.
[[nodiscard]] double pooled_degrees(std::span<const double> covariance, std::size_t size,
                                    double degrees);

/// Covariance matrix of columns, about their own means, row by row. At least two rows.
[[nodiscard]] std::vector<double> covariance_of(std::span<const std::vector<double>> rows);

/// Bounds of a variance that was estimated with so many degrees of freedom (chi-square).
[[nodiscard]] Interval variance_interval(double variance, double degrees, double confidence);

}  // namespace plexor::analysis
