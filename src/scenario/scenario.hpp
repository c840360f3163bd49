#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/strike_speed.hpp"
#include "base/surface_point.hpp"
#include "base/time.hpp"

namespace plexor::scenario {

/// The newest scenario file format this build reads.
inline constexpr int format_version = 1;

/// Upper bounds that hold for every scenario; they keep all arithmetic in range.
inline constexpr std::int64_t max_trials_per_block = 10'000'000;
inline constexpr std::int64_t max_trials = 10'000'000;  ///< of all blocks together
inline constexpr std::size_t max_taps_per_rhythm = 64;
inline constexpr std::size_t max_rhythms = 100;
inline constexpr std::size_t max_blocks = 1000;
inline constexpr base::Duration max_plan = std::chrono::hours{366 * 24};

/// After a stretch of quiet where its block gives no gap, and at least this after reference taps.
inline constexpr base::Duration default_gap = std::chrono::milliseconds{1500};

enum class ScenarioPurpose : std::uint8_t { regression, surface, soak };

/// A named series of contact instants.
struct Rhythm {
  std::string name;
  std::vector<base::Duration> contacts;  ///< the first is 0, then increasing
  std::string expects;  ///< event a device should report; empty: a distractor, to be ignored

  [[nodiscard]] bool is_distractor() const { return expects.empty(); }
  [[nodiscard]] base::Duration length() const { return contacts.back(); }

  bool operator==(const Rhythm&) const = default;
};

/// How the contacts of one trial scatter about the rhythm. The first contact
/// never moves; all draws are truncated at 3 sd.
struct Jitter {
  enum class Model : std::uint8_t {
    none,
    uniform,  ///< each later contact moves by a uniform amount within +-spread
    normal,   ///< each later contact moves by a normal amount of sd
    human,    ///< interval j = clock_j + motor_j+1 - motor_j (Wing & Kristofferson 1973)
  };
  Model model = Model::none;
  base::Duration spread{};        ///< uniform: half width
  base::Duration sd{};            ///< normal
  std::int64_t tempo_cv_ppm = 0;  ///< human: sd of the clock as a share of the interval, in 1e-6
  base::Duration motor_sd{};      ///< human

  bool operator==(const Jitter&) const = default;
};

/// How the strikes of a block are placed by the answers to the ones before; see placement.hpp.
struct Placing {
  enum class Rule : std::uint8_t { bayesian, up_and_down };
  Rule rule = Rule::bayesian;
  base::StrikeSpeed start{};  ///< up-and-down: the first strike
  std::int64_t step_ppm = 0;  ///< up-and-down: from one speed to the next, in 1e-6 of it
  std::int64_t percent = 50;  ///< the share heard whose speed is sought: 50 or 95
  /// The block ends once that speed is known to this, in 1e-6 of it (95 % two-sided); 0: never.
  std::int64_t precision_ppm = 0;
  /// So many of the block's trials come at the end of the run, at the speed of which half was
  /// heard: has the surface changed?
  std::uint32_t recheck = 0;

  bool operator==(const Placing&) const = default;
};

/// How hard the taps of a block strike.
struct Strength {
  enum class Kind : std::uint8_t {
    fixed,     ///< values[0] always
    spread,    ///< normal about values[0], each tap drawn anew, truncated at 3 sd
    list,      ///< values in turn, by trial number
    ramp,      ///< from values[0] in the first trial to values[1] in the last
    adaptive,  ///< between values[0] and values[1], placed by the answers so far
  };
  Kind kind = Kind::fixed;
  std::vector<base::StrikeSpeed> values;
  std::int64_t cv_ppm = 0;           ///< spread: sd as a share of the mean, in 1e-6
  std::optional<Placing> placing{};  ///< of an adaptive one

  bool operator==(const Strength&) const = default;
};

/// A place that the tapper is moved to, by hand.
struct Spot {
  std::string name;
  std::optional<base::SurfacePoint> at{};

  bool operator==(const Spot&) const = default;
};

/// A number of trials of one rhythm, or a total of quiet listening.
struct Block {
  bool quiet = false;
  std::uint32_t rhythm = 0;  ///< index into Scenario::rhythms (unless quiet)
  std::uint32_t spot = 0;    ///< index into Scenario::spots, where there are some
  std::uint32_t trials = 0;  ///< rhythm: how many; quiet: number of stretches
  Strength strength;         ///< unless quiet
  base::Duration
      window{};  ///< rhythm: response window after the last contact; quiet: length of a stretch
  base::Duration
      last_window{};         ///< quiet: length of the last stretch (the rest); else equal to window
  base::Duration gap_min{};  ///< from a trial's last contact (quiet: its end) to the next first
                             ///< contact, drawn evenly
  base::Duration gap_max{};

  [[nodiscard]] bool is_adaptive() const { return strength.placing.has_value(); }
  /// Trials before the re-check.
  [[nodiscard]] std::uint32_t trials_to_place() const {
    return trials - (is_adaptive() ? strength.placing->recheck : 0);
  }

  bool operator==(const Block&) const = default;
};

enum class BlockOrder : std::uint8_t { interleaved, in_order };

/// Taps that watch the tapper for drift: at the start, at the end and every so many trials.
struct ReferenceTaps {
  std::uint32_t every_trials = 0;  ///< > 0
  std::uint32_t taps = 0;          ///< > 0
  base::StrikeSpeed strike;
  base::Duration spacing{};  ///< between the reference taps
  base::Duration
      transit_tolerance{};  ///< largest allowed shift of the mean transit against the opening taps

  bool operator==(const ReferenceTaps&) const = default;
};

/// A limit that is tested while the run goes on, so that it ends as soon as the answer is clear.
struct Sequential {
  double good = 0.0;    ///< a device as good as this is to pass: better than the bad one
  double bad = 0.0;     ///< a device as bad as this is not to pass
  double alpha = 0.05;  ///< greatest chance that a good device fails
  double beta = 0.05;   ///< greatest chance that a bad one passes

  bool operator==(const Sequential&) const = default;
};

/// One side of what is accepted, judged by a one-sided bound at this confidence; where it is
/// sequential, by that test alone.
struct Limit {
  enum class Side : std::uint8_t { at_least, at_most };
  Side side = Side::at_least;
  double value = 0.0;        ///< sequential: the bad one (of latencies still in milliseconds)
  double confidence = 0.95;  ///< sequential: 1 - beta
  /// Of latencies: in shares of trials answered within the value; bad is the quantile.
  std::optional<Sequential> sequential{};
  /// Of shares and rates: how good a device is expected to be, better than the limit. Power is
  /// stated for it; it judges nothing.
  std::optional<double> expected{};
};

struct LatencyLimit {
  double quantile = 0.95;  ///< 0.95 for latency_p95_ms
  Limit limit;             ///< value in milliseconds, at_most
};

/// The limits of [accept]. Each holds for each device over the whole run.
struct Accept {
  std::optional<Limit>
      detection_rate;  ///< hits per valid trial of all rhythms that expect an event
  std::vector<LatencyLimit> latencies;         ///< in rising quantile
  std::optional<Limit> false_alarms_per_hour;  ///< incidents per hour of quiet
  std::optional<Limit> false_response_rate;    ///< distractor trials that were answered
  std::optional<Limit> confusion_rate;         ///< trials answered with another rhythm's name
  double max_void_fraction = 0.05;  ///< more void trials than this make the run undecided

  /// Some limit is sequential: the run may end before its plan does.
  [[nodiscard]] bool may_stop_early() const {
    return expecting_may_stop() || distractors_may_stop() || quiet_may_stop();
  }
  /// Some limit on these trials is sequential.
  [[nodiscard]] bool expecting_may_stop() const;
  [[nodiscard]] bool distractors_may_stop() const;
  [[nodiscard]] bool quiet_may_stop() const;
};

/// How much worse a candidate may be than the base that it is compared with, and still count as
/// no worse.
struct Margins {
  double detection = 0.03;              ///< lost share of detections
  double latency_ms = 50.0;             ///< later, by the shift of the whole distribution
  std::optional<double> alarm_ratio{};  ///< times as many false alarms per hour; nothing: no claim
  double confidence = 0.95;             ///< of each claim
  bool given = false;                   ///< by the scenario; else these usual ones
};

/// What the device is to be made for: advice about threshold and lockout is given for it.
struct Wanted {
  std::optional<base::StrikeSpeed> softest{};  ///< to be heard; nothing: the softest that is tapped
  double false_triggers_per_hour = 1.0;        ///< that its detector may make in quiet, at most
};

/// What to do: everything a scenario file says, checked and in whole units.
struct Scenario {
  std::string name;
  ScenarioPurpose purpose = ScenarioPurpose::regression;
  std::uint64_t seed = 0;
  BlockOrder order = BlockOrder::interleaved;
  base::Duration pulse_tolerance{};  ///< a pulse that begins later than this voids its trial
  base::Duration incident_window{};  ///< alarms closer than this are one incident
  std::vector<Rhythm> rhythms;
  Jitter jitter;
  /// In the order in which the tapper stands there; none: it stays where it is.
  std::vector<Spot> spots{};
  std::vector<Block> blocks;
  std::optional<ReferenceTaps> reference;
  Wanted wanted{};
  Accept accept;
  Margins margins;

  /// Some limit is sequential, or some adaptive block ends at a precision.
  [[nodiscard]] bool may_stop_early() const;
  [[nodiscard]] bool has_adaptive_block() const;
};

/// Reads and checks a scenario file's text. `file` is only used in messages.
/// Throws base::InputError, one clear message, for anything that can't be meant:
/// syntax, unknown keys, ranges, a rhythm that no block or nobody defines, a gap
/// shorter than its window, contacts that jitter could put out of order.
[[nodiscard]] Scenario parse_scenario(std::string_view text, const std::string& file);

[[nodiscard]] std::string_view to_text(ScenarioPurpose purpose);

}  // namespace plexor::scenario
