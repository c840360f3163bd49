#pragma once

#include <cstddef>
#include <cstdint>

#include "analysis/response/bounded_climb.hpp"
#include "analysis/response/rated_response.hpp"

// Curves of detection against strength with guesses and lapses, by their parameters.

namespace plexor::analysis {

// Parameters in the order of a Box. Of a curve through a share, `place` is eta at its strength.
inline constexpr std::size_t at_place = 0;
inline constexpr std::size_t at_slope = 1;
inline constexpr std::size_t at_guess = 2;
inline constexpr std::size_t at_lapse = 3;

inline constexpr double furthest_eta = 1e6;

/// The eta at which F is this share; for shares outside (0, 1) the furthest.
[[nodiscard]] double eta_within(Link link, double share);

/// guess + height * F(eta + slope * (x - origin)). What the share changes by with a parameter is a
/// sum of density, F and 1 - F with the factors given here, and for the slope what is left out.
struct RatedShape {
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

  [[nodiscard]] ShareAt operator()(double x) const;
};

/// All four parameters are the curve's own.
struct FreeCurves {
  Link link = Link::probit;

  [[nodiscard]] RatedShape with(const Parameters& at) const;
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

  [[nodiscard]] RatedShape with(const Parameters& at) const;

 private:
  [[nodiscard]] RatedShape with_eta(RatedShape curve) const;
  [[nodiscard]] RatedShape with_guess(RatedShape curve) const;
  [[nodiscard]] RatedShape with_lapse(RatedShape curve) const;
};

}  // namespace plexor::analysis
