#pragma once

#include <cstdint>
#include <memory>
#include <span>
#include <vector>

#include "base/strike_speed.hpp"

namespace plexor::scenario {

/// A share of knocks that are heard, of which the speed may be asked.
enum class HeardShare : std::uint8_t { half, most };  ///< 50 and 95 %

/// The curves that a device's detection may follow, on a grid, and how each would answer at each
/// speed that can be asked for:
///
///     heard = guess + (1 - guess - lapse) * Phi((ln v - ln v50) / spread)
///
/// Made once for each block, then only read.
class CurveGrid {
 public:
  /// Of the speeds that can be asked for, rising, at least two of them, to find the speed at which
  /// the share `sought` is heard.
  CurveGrid(std::vector<base::StrikeSpeed> speeds, HeardShare sought);

  [[nodiscard]] const std::vector<base::StrikeSpeed>& speeds() const { return speeds_; }
  [[nodiscard]] HeardShare sought() const { return sought_; }

 private:
  friend class ThresholdBelief;

  struct Curve {
    double ln_v50 = 0.0;
    double spread = 0.0;
    double lapse = 0.0;
    double ln_prior = 0.0;
  };
  /// The speed at which a share is heard, for all curves.
  struct Quantile {
    std::vector<double> ln_speed{};      ///< by curve; far beyond all if it is never heard so often
    std::vector<std::uint32_t> order{};  ///< curves by rising ln_speed
  };
  void sort_by_sought();
  [[nodiscard]] std::vector<double> heard_at(double ln_speed) const;
  [[nodiscard]] Quantile quantile_of(HeardShare share) const;

  HeardShare sought_;
  std::vector<Curve> curves_;          ///< those with about the same speed sought side by side
  std::vector<std::size_t> bin_ends_;  ///< of such curves
  std::vector<base::StrikeSpeed> speeds_;
  std::vector<std::vector<double>> heard_;  ///< by speed and curve: the chance that it is heard
  Quantile half_;
  Quantile most_;
};

/// What is known of one device's curve after some answers: a weight for each curve of the grid.
/// IEEE basic operations only, so that answers lead to the same next strike on every machine.
class ThresholdBelief {
 public:
  explicit ThresholdBelief(std::shared_ptr<const CurveGrid> grid);

  /// The device heard this speed (index into the grid's speeds), or did not.
  void learn(std::size_t speed, bool heard);

  /// Adds to each speed the entropy (in nats) that is to be expected, after one more answer at it,
  /// of the belief about the speed sought. Kontsevich & Tyler 1999, Vision Research 39:2729, who
  /// take the belief about the whole curve; of the speed sought alone: Prins 2013, Journal of
  /// Vision 13(7):3 (from memory), which needs fewer knocks to find it.
  void add_expected_entropy(std::span<double> by_speed) const;

  /// With this probability the ln speed in m/s at which that share is heard lies below.
  [[nodiscard]] double quantile(HeardShare share, double probability) const;
  /// The speed at which a share is heard: ln of it in m/s, the median of the belief.
  [[nodiscard]] double ln_speed_at(HeardShare share) const;
  /// Half the width of the central 95 % of the belief about the ln of the speed sought: 0.05 for
  /// 5 %.
  [[nodiscard]] double uncertainty() const;

 private:
  [[nodiscard]] const CurveGrid::Quantile& of(HeardShare share) const;
  void weigh();

  std::shared_ptr<const CurveGrid> grid_;
  std::vector<double> ln_weights_;
  std::vector<double> weights_;  ///< their sum is 1
};

}  // namespace plexor::scenario
