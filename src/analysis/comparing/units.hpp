#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "analysis/comparing/rate_ratio.hpp"
#include "analysis/comparing/run_evidence.hpp"
#include "analysis/comparing/tested.hpp"
#include "analysis/intervals.hpp"

namespace plexor::analysis {

/// One unit in all runs in which it was heard.
struct UnitRow {
  std::string name;  ///< of the device
  std::string version;
  std::uint64_t runs = 0;
  std::vector<std::string> positions;  ///< where it stood, each named once; empty: not told
  Successes hits;
  std::optional<Interval> hits_interval;  ///< Wilson, two-sided
  std::optional<double> median_ms;        ///< of all trials, the unanswered at +infinity
  Events alarms;                          ///< incidents in hours of quiet
  double detection_p = 1.0;               ///< that an alike unit lies as far off, adjusted
  double alarms_p = 1.0;
  bool stands_out = false;
  std::string reason;  ///< one sentence with the numbers
};

/// Whether all units share one rate.
struct Alikeness {
  std::string figure;  ///< "detection rate", "false alarms per hour"
  std::string test;    ///< "Cochran's Q", "chi-square, exact given the total"
  double statistic = 0.0;
  double degrees = 0.0;
  double p = 1.0;
};

/// Everything that is said about several units.
struct UnitsTable {
  std::vector<UnitRow> units;  ///< in the order in which they first appear
  bool shared_taps = false;    ///< all units heard each tap
  double confidence = 0.95;
  std::vector<Alikeness> alikeness;
  std::vector<std::string> reservations;  ///< why that no unit stands out means nothing
  std::vector<std::string> remarks;       ///< what the figures may be due to besides the units
  std::uint64_t standing_out = 0;
  std::string headline;
};

/// Several units of one setting: devices of one run that hear the same taps, or one unit in each
/// run, or units that change places from run to run. Where all units heard each tap: Cochran's Q,
/// and each unit against all by shared_deviations; else the exact dispersion test and Fisher's test
/// of each against the others together. False alarms: the Poisson dispersion test and the exact
/// rate ratio. A unit stands out when one of its p-values, adjusted after Holm over all units and
/// both figures, is at most the error of the scenario's confidence. The one furthest off is named
/// first and left out, then the others are held against each other again; of the last two both
/// stand out or none. Where places were told, it says
/// whether units have changed them evenly (a Latin square); if they have, a difference between
/// places makes the test of shared taps a little too cautious, never too bold.
/// Throws base::InputError for fewer than 2 units, for runs of different settings, lifted ones,
/// and runs that may stop early.
[[nodiscard]] UnitsTable table_of_units(std::span<const RunEvidence> runs);

}  // namespace plexor::analysis
