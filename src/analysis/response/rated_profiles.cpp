#include "analysis/response/rated_profiles.hpp"

#include <algorithm>
#include <limits>

namespace plexor::analysis {
namespace {

constexpr double unlikeliest = -std::numeric_limits<double>::infinity();
constexpr double near_enough = 1e-6;

}  // namespace

double StrengthProfile::operator()(double strength) {
  double most = unlikeliest;
  for (auto& last : last_) {
    for (const Way way : {Way::held, Way::guess, Way::lapse, Way::both}) {
      if (!is_open(way)) continue;
      most = std::max(most, along(way, strength, last[static_cast<std::size_t>(way)]));
    }
  }
  return most;
}

void StrengthProfile::begin_again() {
  last_.clear();
  for (const Parameters& top : tops_) {
    last_.emplace_back().fill(
        {eta_of(search_.link(), share_), top[at_slope], top[at_guess], top[at_lapse]});
  }
}

bool StrengthProfile::may_lack_upper_end(double least) const {
  return search_.flat_within(0.0, share_) >= least ||
         best_with_at_least(at_lapse, 1.0 - share_) >= least;
}

bool StrengthProfile::may_lack_lower_end(double least) const {
  return search_.flat_within(share_, 1.0) >= least || best_with_at_least(at_guess, share_) >= least;
}

bool StrengthProfile::is_open(Way way) const {
  if (way == Way::held) return !search_.has_free_rate();
  if (way == Way::guess) return is_free(at_guess);
  if (way == Way::lapse) return is_free(at_lapse);
  return is_free(at_guess) && is_free(at_lapse);
}

double StrengthProfile::best_with_at_least(std::size_t rate, double least) const {
  Box box = search_.box();
  if (box.upper[rate] < least) return unlikeliest;
  box.lower[rate] = std::max(box.lower[rate], least);
  double most = unlikeliest;
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

Box StrengthProfile::box_of_way(Way way) const {
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

double StrengthProfile::along(Way way, double strength, Parameters& last) const {
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

double HeldProfile::operator()(double value) {
  Box box = search_.box();
  box.lower[held_] = box.upper[held_] = value;
  double most = unlikeliest;
  for (Parameters& last : last_) {
    const Climbed found = search_.best_within(box, last, near_enough);
    last = found.at;
    most = std::max(most, found.log_likelihood);
  }
  return most;
}

}  // namespace plexor::analysis
