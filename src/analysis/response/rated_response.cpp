#include "analysis/response/rated_response.hpp"

#include <algorithm>
#include <boost/math/constants/constants.hpp>
#include <cmath>
#include <limits>
#include <utility>

#include "analysis/response/bounded_climb.hpp"
#include "analysis/response/profile_ends.hpp"
#include "analysis/response/scaled_doses.hpp"

namespace plexor::analysis {
namespace {

constexpr double endless = std::numeric_limits<double>::infinity();
constexpr double furthest_eta = 1e6;
constexpr double steepest = 1000.0;      // of scaled strengths, which lie within -1 and 1
constexpr double most_steepening = 8.0;  // by free rates
constexpr double near_enough = 1e-6;

// Parameters in the order of a Box. Of a curve through a share, `place` is eta at its strength.
constexpr std::size_t at_place = 0;
constexpr std::size_t at_slope = 1;
constexpr std::size_t at_guess = 2;
constexpr std::size_t at_lapse = 3;

/// F at eta, 1 - F, and dF / d eta.
struct Core {
  double share = 0.0;
  double rest = 1.0;
  double density = 0.0;
};

Core core_at(Link link, double eta) {
  using boost::math::double_constants::one_div_root_two;
  using boost::math::double_constants::one_div_root_two_pi;
  switch (link) {
    case Link::logit: {
      const double tail = 1.0 / (1.0 + std::exp(std::abs(eta)));
      const double head = 1.0 - tail;
      return {eta < 0.0 ? tail : head, eta < 0.0 ? head : tail, tail * head};
    }
    case Link::probit: {
      if (std::abs(eta) > 36.0) return {eta < 0.0 ? 0.0 : 1.0, eta < 0.0 ? 1.0 : 0.0, 0.0};
      const double tail = 0.5 * std::erfc(std::abs(eta) * one_div_root_two);
      const double head = 1.0 - tail;
      return {eta < 0.0 ? tail : head, eta < 0.0 ? head : tail,
              one_div_root_two_pi * std::exp(-0.5 * eta * eta)};
    }
    case Link::cloglog: {
      const double rate = std::exp(eta);
      return {-std::expm1(-rate), std::exp(-rate), std::exp(eta - rate)};
    }
  }
  return {};
}

double eta_within(Link link, double share) {
  if (share <= 0.0) return -furthest_eta;
  if (share >= 1.0) return furthest_eta;
  return eta_of(link, share);
}

/// guess + height * F(eta + slope * (x - origin)). What the share changes by with a parameter is a
/// sum of density, F and 1 - F with the factors given here, and for the slope what is left out.
struct Curve {
  Link link = Link::probit;
  double eta = 0.0;
  double slope = 0.0;
  double origin = 0.0;
  double guess = 0.0;
  double lapse = 0.0;
  Parameters by_density{};
  Parameters by_share{};
  Parameters by_rest{};

  [[nodiscard]] double height() const { return 1.0 - guess - lapse; }

  ShareAt operator()(double x) const {
    const Core core = core_at(link, eta + slope * (x - origin));
    ShareAt point{.share = guess + height() * core.share, .rest = lapse + height() * core.rest};
    for (const std::size_t i : {at_place, at_guess, at_lapse}) {
      point.by[i] =
          by_density[i] * core.density + by_share[i] * core.share + by_rest[i] * core.rest;
    }
    point.by[at_slope] = height() * core.density * (x - origin);
    return point;
  }
};

/// All four parameters are the curve's own.
struct FreeCurves {
  Link link = Link::probit;

  [[nodiscard]] Curve with(const Parameters& at) const {
    Curve curve{.link = link,
                .eta = at[at_place],
                .slope = at[at_slope],
                .guess = at[at_guess],
                .lapse = at[at_lapse]};
    curve.by_density[at_place] = curve.height();
    curve.by_rest[at_guess] = 1.0;
    curve.by_share[at_lapse] = -1.0;
    return curve;
  }
};

/// Curves that have `share` in all at `strength`. Of eta there (the place), guess and lapse, one
/// follows from the others: where eta follows, both rates may be free; where a rate does, it may
/// come as close as it likes to what makes the share the curve's end.
struct CurvesThrough {
  enum class Follows : std::uint8_t { eta, guess, lapse };

  Link link = Link::probit;
  double share = 0.5;
  double strength = 0.0;
  Follows follows = Follows::eta;

  [[nodiscard]] Curve with(const Parameters& at) const {
    Curve curve{.link = link,
                .eta = at[at_place],
                .slope = at[at_slope],
                .origin = strength,
                .guess = at[at_guess],
                .lapse = at[at_lapse]};
    switch (follows) {
      case Follows::eta: return with_eta(curve);
      case Follows::guess: return with_guess(curve);
      case Follows::lapse: return with_lapse(curve);
    }
    return curve;
  }

 private:
  static constexpr double least = 1e-300;

  [[nodiscard]] Curve with_eta(Curve curve) const {
    curve.eta = eta_within(link, (share - curve.guess) / curve.height());
    const double steepness = std::max(core_at(link, curve.eta).density, least) * curve.height();
    curve.by_density[at_guess] = -(1.0 - curve.lapse - share) / steepness;
    curve.by_density[at_lapse] = (share - curve.guess) / steepness;
    curve.by_rest[at_guess] = 1.0;
    curve.by_share[at_lapse] = -1.0;
    return curve;
  }

  [[nodiscard]] Curve with_guess(Curve curve) const {
    const Core here = core_at(link, curve.eta);
    const double height = (1.0 - curve.lapse - share) / std::max(here.rest, least);
    curve.guess = 1.0 - curve.lapse - height;
    curve.by_density[at_place] = height;
    curve.by_rest[at_place] = -height * here.density / std::max(here.rest, least);
    return curve;
  }

  [[nodiscard]] Curve with_lapse(Curve curve) const {
    const Core here = core_at(link, curve.eta);
    const double height = (share - curve.guess) / std::max(here.share, least);
    curve.lapse = 1.0 - curve.guess - height;
    curve.by_density[at_place] = height;
    curve.by_share[at_place] = -height * here.density / std::max(here.share, least);
    return curve;
  }
};

Box box_of(const RatedModel& model) {
  const auto least = [](const SideRate& rate) { return rate.is_free ? 0.0 : rate.value; };
  const auto most = [](const SideRate& rate) { return rate.is_free ? most_rate : rate.value; };
  return {.lower = {-furthest_eta, 0.0, least(model.guess), least(model.lapse)},
          .upper = {furthest_eta, steepest, most(model.guess), most(model.lapse)}};
}

bool is_within(double value, double lower, double upper) {
  return lower <= value && value <= upper;
}

/// The doses of one analysis, scaled, with the search for the best of its curves.
class Search {
 public:
  Search(std::span<const Dose> doses, const RatedModel& model)
      : merged_(merged(doses)), scaled_(merged_), model_(model), box_(box_of(model)) {
    plain_ = best_plain();
    if (has_free_rate()) {
      box_.upper[at_slope] = std::min(steepest, most_steepening * std::max(plain_[at_slope], 1.0));
    }
  }

  [[nodiscard]] const Scaled& scaled() const { return scaled_; }
  [[nodiscard]] const Box& box() const { return box_; }
  [[nodiscard]] Link link() const { return model_.link; }
  [[nodiscard]] bool has_free_rate() const { return model_.guess.is_free || model_.lapse.is_free; }

  [[nodiscard]] Climbed best_within(const Box& box, const Parameters& start, double enough) const {
    return climb_within(scaled_.doses(), box, start, enough, FreeCurves{model_.link});
  }

  /// The tops of the likelihood that are found from the curve without free rates and from steeper
  /// ones beside it, highest first; those far below the highest left out.
  [[nodiscard]] std::vector<Climbed> tops() const {
    if (!has_free_rate()) return {best_within(box_, plain_, fully)};
    std::vector<Climbed> found{best_within(box_, plain_, roughly)};
    for (const auto& [steeper, shift] : {std::pair{1.5, 0.0}, {3.0, -0.5}, {3.0, 0.5}}) {
      const Parameters start{(plain_[at_place] + shift) * steeper, plain_[at_slope] * steeper, 0.05,
                             0.05};
      found.push_back(best_within(box_, start, roughly));
    }
    return highest_of(std::move(found));
  }

  /// The best flat curve whose share lies within these ends.
  [[nodiscard]] double flat_within(double lower, double upper) const {
    double responded = 0.0;
    double trials = 0.0;
    for (const Dose& dose : scaled_.doses()) {
      responded += as_real(dose.responded);
      trials += as_real(dose.trials);
    }
    const double share = std::clamp(responded / trials, lower, upper);
    return (responded > 0.0 ? responded * std::log(share) : 0.0) +
           (responded < trials ? (trials - responded) * std::log1p(-share) : 0.0);
  }

 private:
  static constexpr double roughly = 1e-3;
  static constexpr double fully = 1e-12;

  /// The best curve with free rates left at their least.
  [[nodiscard]] Parameters best_plain() const {
    Box box = box_;
    box.upper[at_guess] = box_.lower[at_guess];
    box.upper[at_lapse] = box_.lower[at_lapse];
    return best_within(box, {0.0, 1.0, box_.lower[at_guess], box_.lower[at_lapse]}, roughly).at;
  }

  /// Climbed on from where each was roughly found, the same top kept once.
  [[nodiscard]] std::vector<Climbed> highest_of(std::vector<Climbed> found) const {
    constexpr double far_below = 4.0;
    constexpr double apart = 0.02;  // of log likelihood
    std::ranges::sort(found, std::ranges::greater{}, &Climbed::log_likelihood);
    std::vector<Climbed> tops;
    for (const Climbed& rough : found) {
      if (rough.log_likelihood < found.front().log_likelihood - far_below) break;
      const auto is_same = [&](const Climbed& top) {
        return std::abs(top.log_likelihood - rough.log_likelihood) < apart;
      };
      if (std::ranges::any_of(tops, is_same)) continue;
      const Climbed top = best_within(box_, rough.at, fully);
      if (std::ranges::none_of(tops, [&](const Climbed& other) {
            return std::abs(top.log_likelihood - other.log_likelihood) < apart;
          })) {
        tops.push_back(top);
      }
    }
    std::ranges::sort(tops, std::ranges::greater{}, &Climbed::log_likelihood);
    return tops;
  }

  std::vector<Dose> merged_;
  Scaled scaled_;
  RatedModel model_;
  Box box_;
  Parameters plain_{};
};

Parameters scaled_parameters(const RatedCurve& curve, const Scaled& scaled) {
  return {curve.intercept + curve.slope * scaled.centre(), curve.slope * scaled.unit(), curve.guess,
          curve.lapse};
}

RatedCurve unscaled_curve(const Parameters& at, const Scaled& scaled) {
  return {.guess = at[at_guess],
          .lapse = at[at_lapse],
          .intercept = at[at_place] - at[at_slope] * scaled.centre() / scaled.unit(),
          .slope = at[at_slope] / scaled.unit()};
}

/// All tops of a fit, the highest first.
std::vector<Parameters> tops_of(const RatedFit& fit, const Scaled& scaled) {
  std::vector<Parameters> tops{scaled_parameters(fit, scaled)};
  for (const RatedCurve& top : fit.other_tops) tops.push_back(scaled_parameters(top, scaled));
  return tops;
}

/// The likelihood of curves through `share` at a strength; each search begins where the last one
/// ended.
class StrengthProfile {
 public:
  StrengthProfile(const Search& search, std::vector<Parameters> tops, double share)
      : search_(search), share_(share), tops_(std::move(tops)) {
    begin_again();
  }

  double operator()(double strength) {
    double most = -endless;
    for (auto& last : last_) {
      for (const Way way : {Way::held, Way::guess, Way::lapse, Way::both}) {
        if (!is_open(way)) continue;
        most = std::max(most, along(way, strength, last[static_cast<std::size_t>(way)]));
      }
    }
    return most;
  }

  /// The next search begins at the tops, not where the last one ended.
  void begin_again() {
    last_.clear();
    for (const Parameters& top : tops_) {
      last_.emplace_back().fill(
          {eta_of(search_.link(), share_), top[at_slope], top[at_guess], top[at_lapse]});
    }
  }

  /// Whether curves of at least this likelihood have the share at no strength, but only beyond (or
  /// before) all of them.
  [[nodiscard]] bool may_lack_upper_end(double least) const {
    return search_.flat_within(0.0, share_) >= least ||
           best_with_at_least(at_lapse, 1.0 - share_) >= least;
  }
  [[nodiscard]] bool may_lack_lower_end(double least) const {
    return search_.flat_within(share_, 1.0) >= least ||
           best_with_at_least(at_guess, share_) >= least;
  }

 private:
  enum class Way : std::uint8_t { held, guess, lapse, both };

  [[nodiscard]] bool is_free(std::size_t rate) const {
    return search_.box().lower[rate] < search_.box().upper[rate];
  }
  /// One rate follows, the other is at its lower end; or one follows and the other is free.
  [[nodiscard]] bool is_open(Way way) const {
    if (way == Way::held) return !search_.has_free_rate();
    if (way == Way::guess) return is_free(at_guess);
    if (way == Way::lapse) return is_free(at_lapse);
    return is_free(at_guess) && is_free(at_lapse);
  }

  [[nodiscard]] double best_with_at_least(std::size_t rate, double least) const {
    Box box = search_.box();
    if (box.upper[rate] < least) return -endless;
    box.lower[rate] = std::max(box.lower[rate], least);
    double most = -endless;
    for (const Parameters& top : tops_) {
      for (const double steeper : {1.0, 3.0}) {
        Parameters start = top;
        start[at_place] *= steeper;
        start[at_slope] *= steeper;
        most = std::max(most, search_.best_within(box, start, near_enough).log_likelihood);
      }
    }
    return most;
  }

  [[nodiscard]] Box box_of_way(Way way) const {
    constexpr double short_of = 1.0 - 1e-9;
    Box box = search_.box();
    const double g = box.lower[at_guess];
    const double l = box.lower[at_lapse];
    const double most_guess = std::min(box.upper[at_guess], share_);
    const double most_lapse = std::min(box.upper[at_lapse], 1.0 - share_);
    box.upper[at_guess] = way == Way::both ? most_guess * short_of : g;
    box.upper[at_lapse] = way == Way::both ? most_lapse * short_of : l;
    const auto eta = [&](double height, double above_guess) {
      return eta_within(search_.link(), above_guess / height);
    };
    const double without = eta(1.0 - g - l, share_ - g);
    box.lower[at_place] = box.upper[at_place] = without;
    if (way == Way::guess) box.lower[at_place] = eta(1.0 - most_guess - l, share_ - most_guess);
    if (way == Way::lapse) box.upper[at_place] = eta(1.0 - g - most_lapse, share_ - g);
    return box;
  }

  double along(Way way, double strength, Parameters& last) const {
    using Follows = CurvesThrough::Follows;
    const CurvesThrough curves{.link = search_.link(),
                               .share = share_,
                               .strength = strength,
                               .follows = way == Way::guess   ? Follows::guess
                                          : way == Way::lapse ? Follows::lapse
                                                              : Follows::eta};
    const Climbed found =
        climb_within(search_.scaled().doses(), box_of_way(way), last, near_enough, curves);
    last = found.at;
    return found.log_likelihood;
  }

  const Search& search_;
  double share_;
  std::vector<Parameters> tops_;
  std::vector<std::array<Parameters, 4>> last_{};  // of each top, by way
};

constexpr double far_away = 1e6;  // in scaled strengths

/// A strength that is likely to have the share: the best curve's, else one far up (or down).
template <typename Unlikely>
std::optional<double> likely_strength(const RatedFit& fit, double share, const Scaled& scaled,
                                      Unlikely& unlikely) {
  if (const auto best = strength_of(fit, share)) {
    const double at = scaled.scaled(*best);
    if (std::abs(at) < far_away) return at;
  }
  const double side = share_at(fit, scaled.centre()) < share ? 1.0 : -1.0;
  for (double at = 1.0; at < far_away; at *= 2.0) {
    if (unlikely(side * at) < 0.0) return side * at;
  }
  return std::nullopt;
}

/// As end_towards, but from a known end on where that lies further out; the known end itself where
/// nothing beyond it is likely.
template <typename Unlikely>
double wider_end(double from, double known, double step, double furthest, Unlikely& unlikely) {
  const bool is_further = std::isfinite(known) && (known - from) * step > 0.0;
  if (!is_further) return end_towards(from, step, furthest, unlikely);
  if (unlikely(known) >= 0.0) return known;
  return end_towards(known, step, furthest, unlikely);
}

/// The likelihood of curves with one parameter held.
class HeldProfile {
 public:
  HeldProfile(const Search& search, std::vector<Parameters> tops, std::size_t held)
      : search_(search), last_(std::move(tops)), held_(held) {}

  double operator()(double value) {
    Box box = search_.box();
    box.lower[held_] = box.upper[held_] = value;
    double most = -endless;
    for (Parameters& last : last_) {
      const Climbed found = search_.best_within(box, last, near_enough);
      last = found.at;
      most = std::max(most, found.log_likelihood);
    }
    return most;
  }

 private:
  const Search& search_;
  std::vector<Parameters> last_;
  std::size_t held_;
};

/// Those at or below 0 are of rates at an end of their range, or held: they do not vary.
std::array<bool, most_parameters> varying(const Box& box, const Parameters& at) {
  std::array<bool, most_parameters> varies{};
  for (std::size_t i = 0; i < most_parameters; ++i) {
    varies[i] = at[i] > box.lower[i] && at[i] < box.upper[i];
  }
  return varies;
}

double variance_along(const LikelihoodAt& here, const std::array<bool, most_parameters>& varies,
                      const Parameters& direction) {
  LikelihoodAt system = here;
  system.score = direction;
  const Parameters half_way = damped_step(system, varies, 0.0);
  double variance = 0.0;
  for (std::size_t i = 0; i < most_parameters; ++i) {
    if (varies[i]) variance += direction[i] * half_way[i];
  }
  return variance;
}

BandPoint band_point(double strength, const ShareAt& point, double half_width) {
  if (!(point.share > 0.0) || !(point.rest > 0.0) || !std::isfinite(half_width)) {
    return {.strength = strength, .share = point.share, .lower = 0.0, .upper = 1.0};
  }
  const double middle = std::log(point.share / point.rest);
  return {.strength = strength,
          .share = point.share,
          .lower = share_at(Link::logit, middle - half_width),
          .upper = share_at(Link::logit, middle + half_width)};
}

double upper_bound_of(std::span<const Dose> doses, const RatedFit& fit, std::size_t rate,
                      double confidence) {
  need_of_response(confidence > 0.5, "response: confidence must lie between 0.5 and 1");
  const Search search(doses, fit.model);
  const Parameters best = scaled_parameters(fit, search.scaled());
  need_of_response(search.box().lower[rate] < search.box().upper[rate],
                   "response: a rate that is held has no bound");
  HeldProfile profile(search, tops_of(fit, search.scaled()), rate);
  Unlikeliness<HeldProfile> unlikely(profile, fit.log_likelihood,
                                     two_sided_z(2.0 * confidence - 1.0));
  return std::min(end_towards(best[rate], 0.02, most_rate, unlikely), most_rate);
}

}  // namespace

double share_at(const RatedFit& fit, double strength) {
  return FreeCurves{fit.model.link}
      .with({fit.intercept, fit.slope, fit.guess, fit.lapse})(strength)
      .share;
}

std::optional<double> strength_of(const RatedFit& fit, double share) {
  const double core = (share - fit.guess) / (1.0 - fit.guess - fit.lapse);
  if (!(core > 0.0) || !(core < 1.0) || !(fit.slope > 0.0)) return std::nullopt;
  return (eta_of(fit.model.link, core) - fit.intercept) / fit.slope;
}

std::optional<RatedFit> fit_rated(std::span<const Dose> doses, const RatedModel& model) {
  need_doses(doses);
  need_of_response(is_within(model.guess.value, 0.0, most_rate) &&
                       is_within(model.lapse.value, 0.0, most_rate) &&
                       model.guess.value + model.lapse.value < 1.0,
                   "response: a rate must lie between 0 and 0.5");
  const Search search(doses, model);
  const Separation separation = separation_of(doses);
  if (!search.scaled().strengths_differ() || separation == Separation::one_class) {
    return std::nullopt;
  }
  const bool has_rates =
      search.has_free_rate() || model.guess.value > 0.0 || model.lapse.value > 0.0;
  if (!has_rates && separation != Separation::overlap) return std::nullopt;
  const std::vector<Climbed> tops = search.tops();
  RatedFit fit{unscaled_curve(tops.front().at, search.scaled())};
  fit.model = model;
  fit.log_likelihood = tops.front().log_likelihood;
  fit.is_step = separation != Separation::overlap ||
                tops.front().at[at_slope] > 0.9 * search.box().upper[at_slope];
  for (std::size_t i = 1; i < tops.size(); ++i) {
    fit.other_tops.push_back(unscaled_curve(tops[i].at, search.scaled()));
  }
  return fit;
}

Interval profile_strength(std::span<const Dose> doses, const RatedFit& fit, double share,
                          double confidence) {
  need_of_response(share > 0.0 && share < 1.0, "response: a share must lie between 0 and 1");
  const double z = two_sided_z(confidence);
  Interval interval = profile_between(endless, -endless, confidence, "profile likelihood");
  widen_strength(interval, doses, fit, share, z * z / 2.0);
  if (interval.lower > interval.upper) std::swap(interval.lower, interval.upper);
  return interval;
}

void widen_strength(Interval& interval, std::span<const Dose> doses, const RatedFit& other,
                    double share, double most_loss) {
  if (!(most_loss > 0.0)) return;
  const Search search(doses, other.model);
  const bool can_have_it =
      search.has_free_rate() || strength_of(other, share) || other.slope == 0.0;
  if (!can_have_it) return;
  const Scaled& scaled = search.scaled();
  const Parameters best = scaled_parameters(other, scaled);
  StrengthProfile profile(search, tops_of(other, scaled), share);
  Unlikeliness<StrengthProfile> unlikely(profile, other.log_likelihood, std::sqrt(2.0 * most_loss));
  const double least = other.log_likelihood - most_loss;
  const bool may_lack_lower = profile.may_lack_lower_end(least);
  const bool may_lack_upper = profile.may_lack_upper_end(least);
  if (may_lack_lower) interval.lower = -endless;
  if (may_lack_upper) interval.upper = endless;
  const auto from = likely_strength(other, share, scaled, unlikely);
  if (!from) return;
  const double step = std::clamp(0.3 / best[at_slope], 1e-4, 1.0);
  if (!may_lack_lower && interval.lower > -endless) {
    const double end = wider_end(*from, scaled.scaled(interval.lower), -step, -far_away, unlikely);
    interval.lower = std::min(interval.lower, scaled.unscaled(end));
  }
  profile.begin_again();
  if (!may_lack_upper && interval.upper < endless) {
    const double end = wider_end(*from, scaled.scaled(interval.upper), step, far_away, unlikely);
    interval.upper = std::max(interval.upper, scaled.unscaled(end));
  }
}

Interval profile_slope(std::span<const Dose> doses, const RatedFit& fit, double confidence) {
  const double z = two_sided_z(confidence);
  Interval interval = profile_between(endless, -endless, confidence, "profile likelihood");
  widen_slope(interval, doses, fit, z * z / 2.0);
  return interval;
}

void widen_slope(Interval& interval, std::span<const Dose> doses, const RatedFit& other,
                 double most_loss) {
  if (!(most_loss > 0.0)) return;
  const Search search(doses, other.model);
  const double unit = search.scaled().unit();
  const Parameters best = scaled_parameters(other, search.scaled());
  HeldProfile profile(search, tops_of(other, search.scaled()), at_slope);
  Unlikeliness<HeldProfile> unlikely(profile, other.log_likelihood, std::sqrt(2.0 * most_loss));
  const double step = std::max(0.2 * best[at_slope], 1e-3);
  const double lower = wider_end(best[at_slope], interval.lower * unit, -step, 0.0, unlikely);
  const double upper = wider_end(best[at_slope], interval.upper * unit, step,
                                 search.box().upper[at_slope], unlikely);
  interval.lower = std::min(interval.lower, std::max(lower, 0.0) / unit);
  interval.upper = std::max(interval.upper, upper / unit);
}

double upper_bound_of_guess(std::span<const Dose> doses, const RatedFit& fit, double confidence) {
  return upper_bound_of(doses, fit, at_guess, confidence);
}

double upper_bound_of_lapse(std::span<const Dose> doses, const RatedFit& fit, double confidence) {
  return upper_bound_of(doses, fit, at_lapse, confidence);
}

std::vector<BandPoint> band_of(std::span<const Dose> doses, const RatedFit& fit,
                               std::span<const double> strengths, double confidence) {
  const double z = two_sided_z(confidence);
  const Search search(doses, fit.model);
  const Parameters best = scaled_parameters(fit, search.scaled());
  const FreeCurves curves{fit.model.link};
  const LikelihoodAt here = likelihood_at(search.scaled().doses(), best, curves);
  const auto varies = varying(search.box(), best);
  const Curve curve = curves.with(best);
  std::vector<BandPoint> band;
  for (const double strength : strengths) {
    const ShareAt point = curve(search.scaled().scaled(strength));
    const double variance = variance_along(here, varies, point.by);
    const double half_width =
        fit.is_step ? endless : z * std::sqrt(variance) / point.share / point.rest;
    band.push_back(band_point(strength, point, half_width));
  }
  return band;
}

}  // namespace plexor::analysis
