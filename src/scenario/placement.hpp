#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>
#include <vector>

#include "base/strike_speed.hpp"
#include "scenario/scenario.hpp"
#include "scenario/threshold_belief.hpp"

namespace plexor::scenario {

/// The speeds that a strength of kind adaptive may ask for, rising: Bayesian evenly apart in their
/// logarithm, by 3 % at the most; up and down a step from each other.
[[nodiscard]] std::vector<base::StrikeSpeed> placed_speeds(const Strength& strength);

/// How hard the next trial of a block strikes, from the answers to the ones before. A value, and
/// pure: the same answers give the same speeds, bit for bit, on every machine.
///
/// Bayesian (Kontsevich & Tyler 1999, Vision Research 39:2729): where the answer is expected to
/// leave least uncertain, over all devices together. Up and down (Dixon & Mood 1948, JASA 43:109):
/// a step softer after a knock that was heard, a step harder after one that was not; of several
/// devices each has its own series, in turn.
class Placement {
 public:
  /// Of a strength of kind adaptive, for so many devices (at least one).
  Placement(const Strength& strength, std::uint32_t devices);

  /// This trial struck at `speed` and was heard, or not, by each device. Throws std::logic_error
  /// for a speed that can't be asked for.
  void answered(std::uint32_t trial, base::StrikeSpeed speed, const std::vector<bool>& heard);
  /// The trial does not count after all. One without an answer is no error.
  void take_back(std::uint32_t trial);

  /// The next trial's speed.
  [[nodiscard]] base::StrikeSpeed next() const;
  /// At this speed half of the knocks are heard, as far as is known; of several devices by the
  /// middle one.
  [[nodiscard]] base::StrikeSpeed threshold() const;
  /// The speed that is sought is known as precisely as was asked for, of each device. False where
  /// no precision was asked for.
  [[nodiscard]] bool is_precise() const;

 private:
  struct Answer {
    std::uint32_t trial = 0;
    std::size_t speed = 0;  ///< index into the grid's
    std::vector<bool> heard;
  };
  void learn(const Answer& answer);
  [[nodiscard]] std::size_t most_telling() const;
  [[nodiscard]] std::size_t one_step_on() const;
  [[nodiscard]] std::size_t nearest(base::StrikeSpeed speed) const;

  Placing placing_;
  std::shared_ptr<const CurveGrid> grid_;
  std::vector<ThresholdBelief> beliefs_;  ///< by device
  std::vector<Answer> answers_;           ///< in the order in which they came
};

}  // namespace plexor::scenario
