#pragma once

#include <cmath>
#include <cstdint>
#include <optional>

namespace plexor::analysis {

/// Mean and spread of figures that come one by one and are not kept. Welford 1962, Technometrics
/// 4:419.
class RunMean {
 public:
  void add(double figure) {
    ++n_;
    const double off = figure - mean_;
    mean_ += off / static_cast<double>(n_);
    squares_ += off * (figure - mean_);
  }
  [[nodiscard]] std::optional<double> mean() const {
    return n_ > 0 ? std::optional(mean_) : std::nullopt;
  }
  [[nodiscard]] std::optional<double> deviation() const {
    if (n_ < 2) return std::nullopt;
    return std::sqrt(squares_ / static_cast<double>(n_ - 1));
  }

 private:
  std::uint64_t n_ = 0;
  double mean_ = 0.0;
  double squares_ = 0.0;  ///< of the distances from the mean
};

}  // namespace plexor::analysis
