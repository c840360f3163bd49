#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include "analysis/response/rated_curves.hpp"
#include "analysis/response/scaled_doses.hpp"

namespace plexor::analysis {

/// The doses of one analysis, scaled, with the search for the best of its curves.
class RatedSearch {
 public:
  RatedSearch(std::span<const Dose> doses, const RatedModel& model);

  [[nodiscard]] const Scaled& scaled() const { return scaled_; }
  [[nodiscard]] const Box& box() const { return box_; }
  [[nodiscard]] Link link() const { return model_.link; }
  [[nodiscard]] bool has_free_rate() const { return model_.guess.is_free || model_.lapse.is_free; }

  /// The best curve in `box`, climbed to from `start` until no more than `enough` is to be gained.
  [[nodiscard]] Climbed best_within(const Box& box, const Parameters& start, double enough) const;

  /// The tops of the likelihood that are found from the curve without free rates and from steeper
  /// ones beside it, highest first; those far below the highest left out.
  [[nodiscard]] std::vector<Climbed> tops() const;

  /// The best flat curve whose share lies within these ends.
  [[nodiscard]] double flat_within(double lower, double upper) const;

 private:
  /// The best curve with free rates left at their least.
  [[nodiscard]] Parameters best_plain() const;

  /// Climbed on from where each was roughly found, the same top kept once.
  [[nodiscard]] std::vector<Climbed> highest_of(std::vector<Climbed> found) const;

  std::vector<Dose> merged_;
  Scaled scaled_;
  RatedModel model_;
  Box box_;
  Parameters plain_{};
};

/// A curve's parameters on the scale of a search, and back.
[[nodiscard]] Parameters scaled_parameters(const RatedCurve& curve, const Scaled& scaled);
[[nodiscard]] RatedCurve unscaled_curve(const Parameters& at, const Scaled& scaled);
/// All tops of a fit, the highest first.
[[nodiscard]] std::vector<Parameters> tops_of(const RatedFit& fit, const Scaled& scaled);

}  // namespace plexor::analysis
