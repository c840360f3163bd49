#include "analysis/performance/variance_parts.hpp"

#include <algorithm>
#include <array>
#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/gamma.hpp>
#include <boost/math/distributions/normal.hpp>
#include <cmath>
#include <limits>
#include <stdexcept>

namespace plexor::analysis {
namespace {

constexpr const char* method = "Wing-Kristofferson moments, shifted gamma";

enum Part : std::size_t { clock_part, motor_part, tempo_part, part_count };
using Parts = std::array<double, part_count>;

/// A square matrix.
class Square {
 public:
  explicit Square(std::size_t size) : size_(size), values_(size * size) {}
  Square(std::size_t size, std::vector<double> values) : size_(size), values_(std::move(values)) {}

  [[nodiscard]] std::size_t size() const { return size_; }
  [[nodiscard]] double& at(std::size_t row, std::size_t column) {
    return values_[row * size_ + column];
  }
  [[nodiscard]] double at(std::size_t row, std::size_t column) const {
    return values_[row * size_ + column];
  }
  [[nodiscard]] const std::vector<double>& values() const { return values_; }

 private:
  std::size_t size_;
  std::vector<double> values_;
};

Square product(const Square& left, const Square& right) {
  Square result(left.size());
  for (std::size_t i = 0; i < left.size(); ++i) {
    for (std::size_t k = 0; k < left.size(); ++k) {
      const double factor = left.at(i, k);
      for (std::size_t j = 0; j < left.size(); ++j) result.at(i, j) += factor * right.at(k, j);
    }
  }
  return result;
}

/// The trace of left * right.
double trace_of_product(const Square& left, const Square& right) {
  double sum = 0.0;
  for (std::size_t i = 0; i < left.size(); ++i) {
    for (std::size_t j = 0; j < left.size(); ++j) sum += left.at(i, j) * right.at(j, i);
  }
  return sum;
}

/// Which elements a moment takes the mean of: the diagonal, its neighbours, or all others.
std::size_t moment_of(std::size_t row, std::size_t column) {
  const std::size_t lag = row > column ? row - column : column - row;
  return std::min<std::size_t>(lag, 2);
}

Parts moments_of(const Square& covariance) {
  Parts sums{};
  Parts counts{};
  for (std::size_t i = 0; i < covariance.size(); ++i) {
    for (std::size_t j = 0; j < covariance.size(); ++j) {
      sums[moment_of(i, j)] += covariance.at(i, j);
      counts[moment_of(i, j)] += 1.0;
    }
  }
  for (std::size_t k = 0; k < part_count; ++k) {
    if (counts[k] > 0.0) sums[k] /= counts[k];
  }
  return sums;
}

/// The covariance matrix that one part of size 1 makes.
Square pattern_of(Part part, const std::vector<double>& means) {
  Square pattern(means.size());
  for (std::size_t i = 0; i < means.size(); ++i) {
    for (std::size_t j = 0; j < means.size(); ++j) {
      const std::size_t moment = moment_of(i, j);
      double value = 0.0;
      if (part == tempo_part) value = means[i] * means[j];
      if (part == clock_part && moment == 0) value = means[i] * means[i];
      if (part == motor_part && moment < 2) value = moment == 0 ? 2.0 : -1.0;
      pattern.at(i, j) = value;
    }
  }
  return pattern;
}

/// The model of one rhythm: its patterns, and for each part the combination of the three moments
/// that has this part as its mean.
class Model {
 public:
  Model(const std::vector<double>& means, double degrees)
      : degrees_(degrees), parts_(std::min<std::size_t>(means.size(), part_count)) {
    for (std::size_t part = 0; part < parts_; ++part) {
      patterns_.push_back(pattern_of(static_cast<Part>(part), means));
      of_patterns_[part] = moments_of(patterns_.back());
    }
    for (std::size_t part = 0; part < parts_; ++part) weigh(part, means.size());
  }

  [[nodiscard]] std::size_t parts() const { return parts_; }
  [[nodiscard]] double mean_variance(std::size_t part) const { return of_patterns_[part][0]; }

  [[nodiscard]] double estimate(std::size_t part, const Square& covariance) const {
    return trace_of_product(weights_[part], covariance);
  }

  [[nodiscard]] Square covariance(const Parts& sizes) const {
    Square sum(patterns_.front().size());
    for (std::size_t part = 0; part < parts_; ++part) {
      for (std::size_t i = 0; i < sum.size(); ++i) {
        for (std::size_t j = 0; j < sum.size(); ++j) {
          sum.at(i, j) += sizes[part] * patterns_[part].at(i, j);
        }
      }
    }
    return sum;
  }

  /// How probable an estimate of at most `estimate` is where the parts have these sizes.
  [[nodiscard]] double probability_up_to(double estimate, std::size_t part,
                                         const Parts& sizes) const;

 private:
  /// Solves for the combination of moments that is 1 for this part and 0 for the others: the
  /// patterns' moments are few and of a special form (the clock has no covariances, the motor none
  /// beyond neighbours), so that the tempo follows from the last, then the motor, then the clock.
  void weigh(std::size_t part, std::size_t size) {
    Parts factors{};
    const auto& clock = of_patterns_[clock_part];
    const auto& motor = of_patterns_[motor_part];
    const auto& tempo = of_patterns_[tempo_part];
    const bool has_tempo = parts_ > tempo_part;
    const Parts tempo_of{0.0, 0.0, has_tempo ? 1.0 / tempo[2] : 0.0};
    Parts motor_of{};
    if (parts_ > motor_part) {
      motor_of = {0.0, 1.0 / motor[1], has_tempo ? -tempo[1] * tempo_of[2] / motor[1] : 0.0};
    }
    Parts clock_of{1.0 / clock[0], 0.0, 0.0};
    for (std::size_t k = 1; k < part_count; ++k) {
      clock_of[k] =
          -(motor[0] * motor_of[k] + (has_tempo ? tempo[0] * tempo_of[k] : 0.0)) / clock[0];
    }
    factors = part == clock_part ? clock_of : part == motor_part ? motor_of : tempo_of;
    Parts counts{};
    for (std::size_t i = 0; i < size; ++i) {
      for (std::size_t j = 0; j < size; ++j) counts[moment_of(i, j)] += 1.0;
    }
    Square& weights = weights_.emplace_back(size);
    for (std::size_t i = 0; i < size; ++i) {
      for (std::size_t j = 0; j < size; ++j) {
        weights.at(i, j) = factors[moment_of(i, j)] / counts[moment_of(i, j)];
      }
    }
  }

  double degrees_;
  std::size_t parts_;
  std::vector<Square> patterns_{};
  std::vector<Square> weights_{};
  std::array<Parts, part_count> of_patterns_{};
};

double Model::probability_up_to(double estimate, std::size_t part, const Parts& sizes) const {
  const Square spread = product(weights_[part], covariance(sizes));
  const Square squared = product(spread, spread);
  const double variance = 2.0 * trace_of_product(spread, spread) / degrees_;
  const double third = 8.0 * trace_of_product(squared, spread) / (degrees_ * degrees_);
  if (variance <= 0.0) return estimate >= sizes[part] ? 1.0 : 0.0;
  const double sd = std::sqrt(variance);
  const double z = (estimate - sizes[part]) / sd;
  const double skewness = third / (variance * sd);
  constexpr double hardly_skew = 1e-3;
  if (std::abs(skewness) < hardly_skew) return boost::math::cdf(boost::math::normal(), z);
  const double shape = 4.0 / (skewness * skewness);
  const double gamma = shape + std::copysign(z, z * skewness) * std::sqrt(shape);
  const double below =
      gamma > 0.0 ? boost::math::cdf(boost::math::gamma_distribution(shape), gamma) : 0.0;
  return skewness > 0.0 ? below : 1.0 - below;
}

/// Bounds of one part. For a part of size x the others are as estimated, or as the whole spread
/// then leaves them, whichever is more.
class Bounds {
 public:
  Bounds(const Model& model, const Parts& estimates, double whole)
      : model_(model), estimates_(estimates), whole_(whole) {}

  /// The size at which an estimate of at most the one seen has this probability; at most `most`.
  [[nodiscard]] double at(std::size_t part, double probability, double most) const {
    const auto is_above = [&](double size) {
      return model_.probability_up_to(estimates_[part], part, others_with(part, size)) >
             probability;
    };
    if (!is_above(0.0)) return 0.0;
    if (is_above(most)) return most;
    double low = 0.0;
    double high = most;
    constexpr int halvings = 40;
    for (int i = 0; i < halvings; ++i) {
      const double middle = (low + high) / 2.0;
      (is_above(middle) ? low : high) = middle;
    }
    return (low + high) / 2.0;
  }

 private:
  [[nodiscard]] double made_by(std::size_t part, double size) const {
    return part < model_.parts() ? size * model_.mean_variance(part) : 0.0;
  }

  [[nodiscard]] Parts others_with(std::size_t part, double size) const {
    Parts sizes{};
    for (std::size_t k = 0; k < model_.parts(); ++k) sizes[k] = std::max(estimates_[k], 0.0);
    sizes[part] = size;
    // The part that gives way: the clock, and for the clock itself the motor.
    const std::size_t gives_way = part == clock_part ? motor_part : clock_part;
    if (gives_way >= model_.parts()) return sizes;
    double rest = whole_;
    for (std::size_t k = 0; k < model_.parts(); ++k) {
      if (k != gives_way) rest -= made_by(k, sizes[k]);
    }
    sizes[gives_way] = std::max(sizes[gives_way], rest / model_.mean_variance(gives_way));
    return sizes;
  }

  const Model& model_;
  const Parts& estimates_;
  double whole_;
};

Estimated root_of(double variance, double lower, double upper, double confidence) {
  const double value = std::sqrt(std::max(variance, 0.0));
  return {value,
          {.lower = std::min(std::sqrt(lower), value),
           .upper = std::max(std::sqrt(upper), value),
           .confidence = confidence,
           .method = method}};
}

std::vector<double> means_of(std::span<const std::vector<double>> rows) {
  std::vector<double> means(rows.front().size());
  for (const auto& row : rows) {
    for (std::size_t j = 0; j < means.size(); ++j) {
      means[j] += row.at(j) / static_cast<double>(rows.size());
    }
  }
  return means;
}

/// Signs put right: what is below 0 is 0, and nobody makes more than the whole.
Parts possible_parts(const Model& model, const Parts& estimates, double whole) {
  Parts parts{};
  double left = whole;
  for (const std::size_t part : {std::size_t{motor_part}, std::size_t{tempo_part}}) {
    if (part >= model.parts()) continue;
    parts[part] = std::clamp(estimates[part], 0.0, left / model.mean_variance(part));
    left -= parts[part] * model.mean_variance(part);
  }
  parts[clock_part] = std::max(left, 0.0) / model.mean_variance(clock_part);
  return parts;
}

}  // namespace

std::vector<double> covariance_of(std::span<const std::vector<double>> rows) {
  const std::vector<double> means = means_of(rows);
  const std::size_t size = means.size();
  std::vector<double> covariance(size * size);
  for (const auto& row : rows) {
    for (std::size_t i = 0; i < size; ++i) {
      for (std::size_t j = 0; j < size; ++j) {
        covariance[i * size + j] += (row[i] - means[i]) * (row[j] - means[j]);
      }
    }
  }
  for (double& value : covariance) value /= static_cast<double>(rows.size()) - 1.0;
  return covariance;
}

double pooled_degrees(std::span<const double> covariance, std::size_t size, double degrees) {
  double trace = 0.0;
  double squares = 0.0;
  for (std::size_t i = 0; i < size; ++i) trace += covariance[i * size + i];
  for (const double value : covariance) squares += value * value;
  const double most = static_cast<double>(size) * degrees;
  if (degrees < 2.0 || trace <= 0.0) return degrees;
  // E(tr S^2) and E((tr S)^2) of a Wishart matrix, solved for tr(Sigma^2) and (tr Sigma)^2.
  const double scale = degrees * degrees / ((degrees - 1.0) * (degrees + 2.0));
  const double true_squares = scale * (squares - trace * trace / degrees);
  if (true_squares <= 0.0) return most;
  const double true_trace_squared = trace * trace - 2.0 * true_squares / degrees;
  return std::clamp(degrees * true_trace_squared / true_squares, degrees, most);
}

Interval variance_interval(double variance, double degrees, double confidence) {
  const boost::math::chi_squared chi(degrees);
  const double tail = (1.0 - confidence) / 2.0;
  const double sum = variance * degrees;
  return {.lower = sum / boost::math::quantile(boost::math::complement(chi, tail)),
          .upper = sum / boost::math::quantile(chi, tail),
          .confidence = confidence,
          .method = "chi-square"};
}

VarianceParts variance_parts(std::span<const std::vector<double>> rows, double confidence) {
  if (rows.size() < 2 || rows.front().empty()) {
    throw std::domain_error("variance_parts: too few intervals");
  }
  const double degrees = static_cast<double>(rows.size()) - 1.0;
  const std::vector<double> means = means_of(rows);
  const Square covariance(means.size(), covariance_of(rows));
  const Model model(means, degrees);
  Parts estimates{};
  for (std::size_t part = 0; part < model.parts(); ++part) {
    estimates[part] = model.estimate(part, covariance);
  }
  const double whole = moments_of(covariance)[0];
  const Parts parts = possible_parts(model, estimates, whole);
  const double most =
      variance_interval(whole, pooled_degrees(covariance.values(), means.size(), degrees),
                        confidence)
          .upper;
  const double tail = (1.0 - confidence) / 2.0;
  const Bounds bounds(model, estimates, whole);
  const auto estimated = [&](std::size_t part) {
    const double largest = most / model.mean_variance(part);
    return root_of(parts[part], bounds.at(part, 1.0 - tail, largest),
                   bounds.at(part, tail, largest), confidence);
  };
  VarianceParts result;
  result.clock_cv = estimated(clock_part);
  if (model.parts() > motor_part) result.motor_sd_ms = estimated(motor_part);
  if (model.parts() > tempo_part) result.tempo_cv = estimated(tempo_part);
  result.motor_is_negative = estimates[motor_part] < 0.0;
  result.clock_is_negative = estimates[clock_part] < 0.0;
  result.replay_motor_sd_ms = std::sqrt(parts[motor_part]);
  const double motor_share = model.parts() > motor_part ? 2.0 * parts[motor_part] : 0.0;
  result.replay_clock_cv =
      std::sqrt(std::max(whole - motor_share, 0.0) / model.mean_variance(clock_part));
  return result;
}

}  // namespace plexor::analysis
