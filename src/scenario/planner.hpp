#pragma once

#include <cstdint>
#include <deque>
#include <map>
#include <optional>
#include <vector>

#include "base/trial.hpp"
#include "scenario/placement.hpp"
#include "scenario/scenario.hpp"

namespace plexor::scenario {

/// What has happened so far, as far as planning depends on it. A value: the
/// conductor keeps it and tells it of each trial taken, voided or stopped.
/// Being told of what next() can't have given is a std::logic_error.
class History {
 public:
  /// With so many devices, whose answers place the strikes of adaptive blocks.
  explicit History(const Scenario& scenario, std::uint32_t devices = 1);

  /// This trial was presented (reference taps included).
  void took(const base::TrialId& id);
  /// This presentation, already taken, does not count: it goes back and is repeated
  /// as attempt + 1 with the same draws, after the trials not yet presented
  /// (reference taps: at once). Telling it twice of one presentation changes nothing.
  void voided(const base::TrialId& id);
  /// This trial, already taken, was valid, and each device heard it or did not. Only trials of
  /// adaptive blocks need it, and each before the next is planned.
  void answered(const base::Trial& trial, const std::vector<bool>& heard);
  /// No more trials of this block (its verdicts are known), or after all some more.
  void set_stopped(std::uint32_t block, bool stopped);

  /// Where the tapper must stand for the next trial that taps: an index into the scenario's spots.
  /// All of a spot, repeats included, is done before the next one's turn.
  [[nodiscard]] std::uint32_t spot() const;

  /// Trials of all blocks still to come, repeats included; reference taps not.
  [[nodiscard]] std::uint64_t remaining() const;

 private:
  friend std::optional<base::Trial> next(const Scenario&, const History&);

  struct BlockHistory {
    std::uint32_t spot = 0;
    std::uint32_t to_place = 0;   ///< to be presented before any re-check
    std::uint32_t recheck = 0;    ///< and then
    std::uint32_t presented = 0;  ///< first presentations so far
    /// In the order they became void, attempt already raised.
    std::deque<base::TrialId> to_repeat{};
    /// By trial number, of the trials that were ever void: the newest attempt planned.
    std::map<std::uint32_t, std::uint32_t> newest_attempts{};
    bool stopped = false;
    std::optional<Placement> placement{};           ///< of an adaptive block
    std::optional<std::uint32_t> recheck_begins{};  ///< its first trial, once presented

    [[nodiscard]] std::uint32_t left_to_place() const;
    [[nodiscard]] std::uint32_t left_to_recheck() const;
    [[nodiscard]] bool is_recheck(std::uint32_t trial) const;
    [[nodiscard]] std::uint32_t not_presented() const {
      return left_to_place() + left_to_recheck();
    }
    /// Repeats included.
    [[nodiscard]] std::uint64_t left() const {
      return stopped ? 0 : not_presented() + to_repeat.size();
    }
  };

  [[nodiscard]] std::uint32_t spot_in_turn() const;
  [[nodiscard]] bool reference_is_due(std::uint32_t every_trials) const;
  [[nodiscard]] std::vector<std::int64_t> choices(BlockOrder order) const;
  [[nodiscard]] std::optional<base::TrialId> next_first(std::uint64_t seed, BlockOrder order) const;
  [[nodiscard]] std::optional<base::TrialId> next_repeat() const;
  [[nodiscard]] base::Trial drawn(const Scenario& scenario, const base::TrialId& id) const;

  std::vector<BlockHistory> blocks_;
  std::int64_t rounds_ = 1;                      ///< of an interleaved plan
  std::uint32_t slots_ = 0;                      ///< rhythm and quiet trials presented so far
  std::uint32_t references_ = 0;                 ///< groups of reference taps presented so far
  std::uint32_t since_reference_ = 0;            ///< trials since the last group
  std::uint32_t last_spot_ = 0;                  ///< of the last trial of a block
  std::uint32_t reference_spot_ = 0;             ///< of the last group
  std::optional<base::TrialId> void_reference_;  ///< a void group, to be repeated at once
};

/// Interleaved blocks are presented in rounds of about so many trials: within one in random order,
/// but after each every block has had its share of the plan (to one trial). So a run that stops
/// early is as mixed as one that ends, and a slow change of the rig meets all blocks alike.
/// Permuted blocks: ICH E9 (1998), section 2.3.2.
inline constexpr std::int64_t trials_per_round = 16;

/// The next trial to present, or nothing when the plan is done. Pure: the same
/// scenario and history give the same trial, bit for bit, on every machine. Each
/// draw is keyed by (seed, block, trial, tap, purpose), so no block's draws
/// depend on how many another had.
[[nodiscard]] std::optional<base::Trial> next(const Scenario& scenario, const History& history);

/// The draws of one trial of a block, wherever in the run it is presented. Of an adaptive block
/// all but the strike, which depends on the answers so far: here the softest.
[[nodiscard]] base::Trial draw_trial(const Scenario& scenario, const base::TrialId& id);

/// The bounds of all trials that a block can ever draw (all draws are truncated),
/// to be checked before anything moves.
struct Envelope {
  base::StrikeSpeed slowest;
  base::StrikeSpeed fastest;
  base::Duration
      shortest_interval{};  ///< between two contacts; the largest Duration if there is one tap only
  base::Duration longest_length{};  ///< first to last contact
  std::uint32_t taps = 0;
};
[[nodiscard]] Envelope envelope_of(const Scenario& scenario, const Block& block);

/// From the last contact of a group of reference taps to the next first contact:
/// long enough that no answer to them falls into the next trial. Needs scenario.reference.
[[nodiscard]] base::Duration reference_gap(const Scenario& scenario);

/// What a plan presents, by what its limits count.
struct PlannedCounts {
  std::uint64_t expecting = 0;    ///< trials of rhythms that expect an event
  std::uint64_t distractors = 0;  ///< and of those that expect nothing
  base::Duration quiet{};
};
[[nodiscard]] PlannedCounts planned_counts(const Scenario& scenario);

/// Expected duration of the whole plan without repeats: mean gaps, nominal rhythms.
[[nodiscard]] base::Duration expected_duration(const Scenario& scenario);

}  // namespace plexor::scenario
