#pragma once

#include <cstdint>
#include <limits>
#include <string>
#include <vector>

#include "journal/records.hpp"

namespace plexor::analysis {

/// What is known about an input of a measurement, and how it is given.
enum class Knowledge : std::uint8_t {
  normal,       ///< a standard uncertainty
  rectangular,  ///< half the width within which it lies evenly: a/sqrt(3) (GUM 4.3.7)
  triangular,   ///< half the width: a/sqrt(6) (GUM 4.3.9)
  arcsine,      ///< half the width of a sine's values: a/sqrt(2) (JCGM 101, 6.4.6)
  resolution,   ///< a full step: step/sqrt(12) (GUM F.2.2.1)
  expanded_k2,  ///< an expanded uncertainty with k = 2 (GUM 4.3.3)
};

[[nodiscard]] double standard_uncertainty(Knowledge knowledge, double value);

/// One input of a measurement, in the unit of the result.
struct Contribution {
  std::string source;  ///< for people: "stamp of the arrival"
  double u = 0.0;      ///< standard uncertainty times sensitivity
  double degrees_of_freedom = std::numeric_limits<double>::infinity();
};

/// Independent contributions, combined as in the GUM (JCGM 100:2008).
struct Budget {
  std::vector<Contribution> contributions;

  /// u_c: the root of the sum of squares (GUM 5.1.2).
  [[nodiscard]] double combined() const;
  /// Welch-Satterthwaite (GUM G.4.1, formula G.2b); infinite where all are.
  [[nodiscard]] double degrees_of_freedom() const;
  /// The coverage factor for 95 %.
  [[nodiscard]] double coverage_factor_95() const;
};

/// Student's t for this coverage, two-sided, at the degrees of freedom rounded down (GUM
/// G.4.1); the normal factor where they are infinite.
[[nodiscard]] double coverage_factor(double degrees_of_freedom, double coverage);

/// The budget of one latency by this listener, in ms: the arrival's stamp, and the contact
/// that it counts from. What the device itself needs is what is measured, and not in it.
[[nodiscard]] Budget latency_budget(const journal::RigFacts& rig,
                                    const journal::ListenerFacts& listener);

}  // namespace plexor::analysis
