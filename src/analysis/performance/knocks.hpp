#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace plexor::analysis {

/// One knock of a person.
struct Knock {
  double at_s = 0.0;
  std::optional<double> strength{};  ///< in the sensor's unit, where it has one
};

/// How knocks are told from noise.
struct KnockSearch {
  std::optional<double> threshold{};  ///< away from the baseline, in the sensor's unit, above 0
  double lockout_s = 0.06;  ///< a knock's own ringing; shorter than a person's quickest interval
};

/// The knocks of a stream, and by what they were found; in the sensor's unit.
struct FoundKnocks {
  std::vector<Knock> knocks{};  ///< instant of the first sample beyond the threshold, and the peak
  double baseline = 0.0;
  double noise_rms = 0.0;
  double threshold = 0.0;
};

/// The knocks in a sensor's samples, of which most are at rest; `times_s` rise, one for each value.
/// Unless the search gives a threshold it is what noise alone reaches in 1 % of such streams, or a
/// tenth of the hard knocks' peak where that is more. Nothing for fewer than 16 samples.
[[nodiscard]] std::optional<FoundKnocks> find_knocks(std::span<const double> times_s,
                                                     std::span<const double> values,
                                                     const KnockSearch& search);

/// The usual spacing of samples: the median. 0 for fewer than two.
[[nodiscard]] double usual_spacing(std::span<const double> times_s);

/// One presentation of a rhythm by a person.
struct Performance {
  std::size_t number = 0;  ///< from 1, in the order heard, those left out included
  std::vector<Knock> knocks{};
};

/// Performances of one rhythm.
struct Performances {
  std::size_t knocks_each = 0;               ///< what most have; of two equally frequent the larger
  std::vector<Performance> kept{};           ///< those
  std::vector<Performance> left_out{};       ///< the others
  double longest_interval_s = 0.0;           ///< within those kept
  std::optional<double> shortest_pause_s{};  ///< between any two neighbours
};

/// Knocks in the order of time, split wherever none came for longer than `pause_s`.
[[nodiscard]] Performances performances_of(std::span<const Knock> knocks, double pause_s);

}  // namespace plexor::analysis
