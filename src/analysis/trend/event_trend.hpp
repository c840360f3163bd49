#pragma once

#include <cstdint>
#include <optional>
#include <span>

#include "analysis/intervals.hpp"

// Whether events (false alarms, failures) become more frequent in the course of time. Times count
// from the begin of the watch, rise, and lie above 0; `watched` is its end. Checked against
// tests/reference (t08). Wrong arguments throw std::domain_error.

namespace plexor::analysis {

enum class Truncation : std::uint8_t {
  time,   ///< the watch ended at a time of its own
  event,  ///< the watch ended with its last event
};

/// Laplace's test against a trend. z > 0: events get denser. Cox & Lewis 1966, The Statistical
/// Analysis of Series of Events, section 3.3 (from memory).
struct LaplaceTrend {
  double z = 0.0;
  double p = 1.0;  ///< two-sided, normal
};
/// Nothing for too few events: 1, or 2 if the last ended the watch.
[[nodiscard]] std::optional<LaplaceTrend> laplace_trend(std::span<const double> times,
                                                        double watched, Truncation truncation);

/// 2 * sum of log(watched / time): chi-square where events come at one rate, small where they get
/// denser. MIL-HDBK-189 (1981), appendix C (from memory); best against a power law.
struct PowerLawTest {
  double chi_square = 0.0;
  double degrees = 0.0;
  double p_denser = 1.0;  ///< lower tail
};
[[nodiscard]] std::optional<PowerLawTest> power_law_test(std::span<const double> times,
                                                         double watched, Truncation truncation);

/// Pairs of gaps between events (the first counts from 0) of which the later is the longer. NIST/
/// SEMATECH e-Handbook, section 8.2.3.4.
[[nodiscard]] std::uint64_t reversals(std::span<const double> times);

/// Mean time between events where they come at one rate: watched / events, with the chi-square
/// interval of NIST/SEMATECH 8.4.5.1 (Epstein 1960). Of a watch that ended with an event the lower
/// end is a little higher. Open ends are infinite. `watched` > 0.
struct MeanTimeBetween {
  std::optional<double> mean;  ///< nothing without events
  Interval two_sided;
  double lower = 0.0;  ///< one-sided, at the same confidence
};
[[nodiscard]] MeanTimeBetween mean_time_between(std::uint64_t events, double watched,
                                                double confidence, Truncation truncation);

/// Events so far as the power a * t^b of time; b < 1: they become rarer. NIST/SEMATECH 8.4.5.2: the
/// estimate with less bias, for a watch that ended at a time of its own.
struct PowerLaw {
  double b = 0.0;
  double mean_time_at_end = 0.0;
  Interval mean_time_interval{};  ///< two-sided 80 %, approximate
};
/// Nothing for fewer than 2 events.
[[nodiscard]] std::optional<PowerLaw> power_law(std::span<const double> times, double watched);

}  // namespace plexor::analysis
