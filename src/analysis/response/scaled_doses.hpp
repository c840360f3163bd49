#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <span>
#include <vector>

#include "analysis/response/binary_response.hpp"

// What the fits of this folder share among themselves.

namespace plexor::analysis {

[[nodiscard]] inline double as_real(std::uint64_t count) { return static_cast<double>(count); }

/// Strengths centred and scaled to within -1 and 1, for the sums; doses without trials left out.
class Scaled {
 public:
  explicit Scaled(std::span<const Dose> doses) {
    double trials = 0.0;
    for (const Dose& dose : doses) {
      if (dose.trials == 0) continue;
      trials += as_real(dose.trials);
      centre_ += as_real(dose.trials) * dose.strength;
    }
    if (trials > 0.0) centre_ /= trials;
    for (const Dose& dose : doses) {
      if (dose.trials == 0) continue;
      width_ = std::max(width_, std::abs(dose.strength - centre_));
    }
    for (const Dose& dose : doses) {
      if (dose.trials == 0) continue;
      doses_.push_back({scaled(dose.strength), dose.responded, dose.trials});
    }
  }

  [[nodiscard]] bool strengths_differ() const { return width_ > 0.0; }
  [[nodiscard]] std::span<const Dose> doses() const { return doses_; }
  [[nodiscard]] double centre() const { return centre_; }
  [[nodiscard]] double unit() const { return width_ > 0.0 ? width_ : 1.0; }
  [[nodiscard]] double scaled(double strength) const { return (strength - centre_) / unit(); }
  [[nodiscard]] double unscaled(double strength) const { return centre_ + unit() * strength; }

 private:
  double centre_ = 0.0;
  double width_ = 0.0;
  std::vector<Dose> doses_;
};

/// Throws std::domain_error of this text unless `condition`.
void need_of_response(bool condition, const char* what);
/// Throws std::domain_error for more responses than trials or a strength that is not finite.
void need_doses(std::span<const Dose> doses);

/// The normal quantile that leaves half of 1 - confidence above it. Throws std::domain_error for a
/// confidence outside (0, 1).
[[nodiscard]] double two_sided_z(double confidence);

/// By strength, one dose for all trials at the same one; those without trials left out.
[[nodiscard]] std::vector<Dose> merged(std::span<const Dose> doses);

}  // namespace plexor::analysis
