#include "scenario/threshold_belief.hpp"

#include <algorithm>
#include <array>
#include <map>
#include <numeric>
#include <utility>

#include "base/basic_math.hpp"

namespace plexor::scenario {

namespace {

using base::natural_log;

constexpr double threshold_step = 0.025;  ///< between the curves' thresholds
constexpr double beyond = 0.3;            ///< thresholds may lie outside of the speeds by this
constexpr double guess = 0.005;           ///< answers that no knock has caused
constexpr double never = 1e3;             ///< a ln speed beyond all speeds

/// Most devices hardly ever miss a loud knock; some do.
struct Lapse {
  double rate;
  double prior;
};
constexpr std::array lapses{Lapse{0.005, 0.8}, Lapse{0.03, 0.15}, Lapse{0.1, 0.05}};

constexpr double least_spread = 0.03;
constexpr double widest_spread = 0.6;
constexpr double spread_ratio = 1.4;

/// z with normal_upper_tail(z) = tail, by bisection.
double normal_quantile_of_tail(double tail) {
  double low = -8.0;
  double high = 8.0;
  for (int i = 0; i < 60; ++i) {
    const double middle = (low + high) / 2.0;
    (base::normal_upper_tail(middle) > tail ? low : high) = middle;
  }
  return (low + high) / 2.0;
}

}  // namespace

CurveGrid::CurveGrid(std::vector<base::StrikeSpeed> speeds, HeardShare sought)
    : sought_(sought), speeds_(std::move(speeds)) {
  const double first = natural_log(base::to_m_s(speeds_.front())) - beyond;
  const double last = natural_log(base::to_m_s(speeds_.back())) + beyond;
  const auto thresholds = static_cast<std::int64_t>((last - first) / threshold_step) + 1;
  for (std::int64_t i = 0; i <= thresholds; ++i) {
    const double ln_v50 = first + static_cast<double>(i) * threshold_step;
    for (double spread = least_spread; spread < widest_spread; spread *= spread_ratio) {
      for (const Lapse& lapse : lapses) {
        curves_.push_back({ln_v50, spread, lapse.rate, natural_log(lapse.prior)});
      }
    }
  }
  sort_by_sought();
  heard_.reserve(speeds_.size());
  for (const base::StrikeSpeed speed : speeds_) {
    heard_.push_back(heard_at(natural_log(base::to_m_s(speed))));
  }
  half_ = quantile_of(HeardShare::half);
  most_ = quantile_of(HeardShare::most);
}

void CurveGrid::sort_by_sought() {
  const Quantile found = quantile_of(sought_);
  std::vector<Curve> sorted;
  sorted.reserve(curves_.size());
  double bin_begins = found.ln_speed[found.order.front()];
  for (const std::uint32_t curve : found.order) {
    if (found.ln_speed[curve] >= bin_begins + threshold_step * (1.0 - 1e-6)) {
      bin_ends_.push_back(sorted.size());
      bin_begins = found.ln_speed[curve];
    }
    sorted.push_back(curves_[curve]);
  }
  bin_ends_.push_back(sorted.size());
  curves_ = std::move(sorted);
}

std::vector<double> CurveGrid::heard_at(double ln_speed) const {
  constexpr double furthest = 8.0;
  std::vector<double> heard;
  heard.reserve(curves_.size());
  for (const Curve& curve : curves_) {
    const double z = std::clamp((ln_speed - curve.ln_v50) / curve.spread, -furthest, furthest);
    heard.push_back(guess + (1.0 - guess - curve.lapse) * (1.0 - base::normal_upper_tail(z)));
  }
  return heard;
}

CurveGrid::Quantile CurveGrid::quantile_of(HeardShare share) const {
  const double wanted = share == HeardShare::half ? 0.5 : 0.95;
  std::map<double, double> deviations;  // by lapse rate
  for (const Lapse& lapse : lapses) {
    const double inside = (wanted - guess) / (1.0 - guess - lapse.rate);
    deviations[lapse.rate] = inside < 1.0 ? normal_quantile_of_tail(1.0 - inside) : never;
  }
  Quantile quantile;
  quantile.ln_speed.reserve(curves_.size());
  for (const Curve& curve : curves_) {
    const double z = deviations[curve.lapse];
    quantile.ln_speed.push_back(z == never ? never : curve.ln_v50 + z * curve.spread);
  }
  quantile.order.resize(curves_.size());
  std::iota(quantile.order.begin(), quantile.order.end(), 0U);
  std::stable_sort(quantile.order.begin(), quantile.order.end(),
                   [&](auto a, auto b) { return quantile.ln_speed[a] < quantile.ln_speed[b]; });
  return quantile;
}

ThresholdBelief::ThresholdBelief(std::shared_ptr<const CurveGrid> grid) : grid_(std::move(grid)) {
  ln_weights_.reserve(grid_->curves_.size());
  for (const CurveGrid::Curve& curve : grid_->curves_) ln_weights_.push_back(curve.ln_prior);
  weights_.resize(ln_weights_.size());
  weigh();
}

/// The weights from their logarithms, so that they add up to 1.
void ThresholdBelief::weigh() {
  constexpr double negligible = 500.0;  // e^-500 of the greatest
  const double greatest = *std::max_element(ln_weights_.begin(), ln_weights_.end());
  double sum = 0.0;
  for (std::size_t i = 0; i < weights_.size(); ++i) {
    ln_weights_[i] = std::max(ln_weights_[i] - greatest, -negligible);
    weights_[i] = base::exp_minus(-ln_weights_[i]);
    sum += weights_[i];
  }
  for (double& weight : weights_) weight /= sum;
}

void ThresholdBelief::learn(std::size_t speed, bool heard) {
  const std::vector<double>& chances = grid_->heard_.at(speed);
  for (std::size_t i = 0; i < ln_weights_.size(); ++i) {
    ln_weights_[i] += natural_log(heard ? chances[i] : 1.0 - chances[i]);
  }
  weigh();
}

void ThresholdBelief::add_expected_entropy(std::span<double> by_speed) const {
  constexpr double negligible = 1e-9;
  const auto x_ln_x = [](double x) { return x > 0.0 ? x * natural_log(x) : 0.0; };
  for (std::size_t speed = 0; speed < by_speed.size(); ++speed) {
    const std::vector<double>& chances = grid_->heard_[speed];
    // Of bins with weights w / W after an answer of chance W the entropy is
    // ln W - sum(w ln w) / W; weighed by that chance, it is W ln W - sum(w ln w).
    double heard = 0.0;
    double sum = 0.0;
    std::size_t curve = 0;
    for (const std::size_t end : grid_->bin_ends_) {
      double bin_heard = 0.0;
      double bin = 0.0;
      for (; curve < end; ++curve) {
        bin += weights_[curve];
        bin_heard += weights_[curve] * chances[curve];
      }
      heard += bin_heard;
      if (bin < negligible) continue;
      sum += x_ln_x(bin_heard) + x_ln_x(bin - bin_heard);
    }
    by_speed[speed] += x_ln_x(heard) + x_ln_x(1.0 - heard) - sum;
  }
}

const CurveGrid::Quantile& ThresholdBelief::of(HeardShare share) const {
  return share == HeardShare::half ? grid_->half_ : grid_->most_;
}

/// Linear between the middles of the curves' weights.
double ThresholdBelief::quantile(HeardShare share, double probability) const {
  const CurveGrid::Quantile& curves = of(share);
  double below = 0.0;
  double before_middle = 0.0;
  double before = curves.ln_speed[curves.order.front()];
  for (const std::uint32_t curve : curves.order) {
    const double middle = below + weights_[curve] / 2.0;
    const double here = curves.ln_speed[curve];
    if (middle >= probability) {
      const double along =
          middle > before_middle ? (probability - before_middle) / (middle - before_middle) : 1.0;
      return before + along * (here - before);
    }
    below += weights_[curve];
    before_middle = middle;
    before = here;
  }
  return before;
}

double ThresholdBelief::ln_speed_at(HeardShare share) const { return quantile(share, 0.5); }

double ThresholdBelief::uncertainty() const {
  const HeardShare sought = grid_->sought();
  return (quantile(sought, 0.975) - quantile(sought, 0.025)) / 2.0;
}

}  // namespace plexor::scenario
