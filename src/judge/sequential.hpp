#pragma once

#include <cstdint>
#include <memory>
#include <vector>

// Sequential tests of a rate: knocks or listening go on only until the answer is clear. Wald 1947,
// "Sequential Analysis", chapters 3 to 5 for the lines; sequential_design.hpp has the tests that
// always end with an answer, sequential_walk.hpp their exact chances, sequential_estimate.hpp the
// rate afterwards. Checked against tests/reference (t07).
//
// Misses (of trials) and false alarms (in hours of listening) are both "failures" here, and trials
// and hours both "exposure".

namespace plexor::judge {

enum class RateKind : std::uint8_t {
  detection,  ///< share of trials that were heard; exposure in trials; a failure is a miss
  alarms,     ///< false alarms per hour; exposure in hours; a failure is an alarm
};

/// What a test has to tell apart, and how often it may be wrong.
struct SequentialAim {
  RateKind kind = RateKind::detection;
  double good = 0.0;   ///< as RateKind says; detection: 0 < bad < good < 1, alarms: 0 < good < bad
  double bad = 0.0;    ///< a rate that must not pass
  double alpha = 0.0;  ///< greatest chance that a device at `good` fails
  double beta = 0.0;   ///< greatest chance that a device at `bad` passes; alpha + beta < 1
};

/// Misses per trial or alarms per hour at a rate of this kind. Throws std::domain_error if there is
/// no such rate: detection lies in [0, 1], alarms are finite and not negative.
[[nodiscard]] double failures_per_exposure(RateKind kind, double rate);

/// Wald's lines: pass when failures <= slope * exposure - accept, fail when failures >= slope *
/// exposure + reject. The logarithms are of Wald's A (fail) and B (pass).
struct WaldLines {
  double slope = 0.0;
  double accept = 0.0;
  double reject = 0.0;
  double log_a = 0.0;
  double log_b = 0.0;
};
/// Throws std::domain_error for an aim out of its ranges, as do all functions here that take one.
[[nodiscard]] WaldLines wald_lines(const SequentialAim& aim);

/// Wald's approximations for his lines without an end. The averages at good and bad are also lower
/// bounds for every test that keeps alpha and beta (Wald 1945, Ann Math Stat 16:117: from memory).
struct WaldAverages {
  double at_good = 0.0;  ///< average exposure
  double at_bad = 0.0;
  double at_slope = 0.0;  ///< where failures come at the lines' slope
  double passes_at_slope = 0.0;
};
[[nodiscard]] WaldAverages wald_averages(const SequentialAim& aim);

/// When a test stops. Both lists are by number of failures and do not decrease.
struct SequentialDesign {
  SequentialAim aim;
  double longest = 0.0;            ///< exposure at which the test ends in any case
  std::vector<double> pass_from;   ///< [failures]: passes at this exposure with so many failures;
                                   ///< more failures than listed never pass
  std::vector<double> fail_until;  ///< [failures]: so many, reached by this exposure, fail; below 0
                                   ///< where they never do. The last is `longest`
};

/// Wald's lines, cut off at `longest` (above 0; whole trials) where nothing is forced: a test that
/// gets so far is undecided.
[[nodiscard]] SequentialDesign wald_design(const SequentialAim& aim, double longest);

/// The least exposure that passes (no failure in it), and the fewest failures that fail (all trials
/// missed; alarms all at once).
[[nodiscard]] double earliest_pass(const SequentialDesign& design);
/// The same of Wald's lines for this aim.
[[nodiscard]] double earliest_pass(const SequentialAim& aim);
[[nodiscard]] std::uint64_t earliest_fail(const SequentialDesign& design);

enum class Standing : std::uint8_t { running, pass, fail, undecided };

/// How far a test has come, or where it stopped.
struct SequentialState {
  Standing standing = Standing::running;
  std::uint64_t failures = 0;
  double exposure = 0.0;

  bool operator==(const SequentialState&) const = default;
};

/// A test while it runs. What comes after it has stopped changes nothing. Copies share the design.
class SequentialTest {
 public:
  /// Throws std::domain_error if the design's lists are not as described.
  explicit SequentialTest(SequentialDesign design);

  /// One trial of a detection test. Throws std::domain_error for a test of alarms.
  Standing add_trial(bool heard);
  /// A test of alarms, in hours listened since its beginning, which must not go back: a false alarm
  /// at, and listening without one until. Both throw std::domain_error else, and for a detection
  /// test.
  Standing alarm_at(double hours);
  Standing quiet_until(double hours);

  [[nodiscard]] const SequentialState& state() const { return state_; }
  [[nodiscard]] const SequentialDesign& design() const { return *design_; }

 private:
  void need_kind(RateKind kind) const;
  void advance_to(double exposure);
  void count_failure();

  std::shared_ptr<const SequentialDesign> design_;
  SequentialState state_;
};

}  // namespace plexor::judge
