#include "scenario/planner.hpp"

#include <algorithm>
#include <numeric>
#include <stdexcept>

#include "base/random.hpp"

namespace plexor::scenario {

namespace {

using base::TrialId;
using Microseconds = std::chrono::microseconds;

/// Stands for the block in the key of the draws that choose blocks; no real block has this index.
constexpr std::uint32_t interleave_block = 0xfffe;

/// Expected time from a trial's first contact (quiet: its begin) to the next trial's.
Microseconds expected_stride(const Scenario& scenario, const Block& block, base::Duration quiet) {
  const base::Duration presented = block.quiet ? quiet : scenario.rhythms.at(block.rhythm).length();
  return std::chrono::duration_cast<Microseconds>(presented + (block.gap_min + block.gap_max) / 2);
}

Microseconds expected_reference_time(const Scenario& scenario, std::int64_t trials) {
  if (!scenario.reference) return Microseconds::zero();
  const ReferenceTaps& reference = *scenario.reference;
  // One group opens the run; each `every_trials` trials, also where the plan cuts them short,
  // are closed by one.
  const std::int64_t groups = 1 + (trials + reference.every_trials - 1) / reference.every_trials;
  const base::Duration group = (reference.taps - 1) * reference.spacing + reference_gap(scenario);
  return groups * std::chrono::duration_cast<Microseconds>(group);
}

}  // namespace

History::History(const Scenario& scenario, std::uint32_t devices) {
  blocks_.reserve(scenario.blocks.size());
  for (const Block& block : scenario.blocks) {
    const std::uint32_t to_place = block.trials_to_place();
    blocks_.push_back(
        {.spot = block.spot, .to_place = to_place, .recheck = block.trials - to_place});
    if (block.is_adaptive()) blocks_.back().placement.emplace(block.strength, devices);
  }
  std::int64_t trials = 0;
  for (const Block& block : scenario.blocks) trials += block.trials;
  rounds_ = (trials + trials_per_round - 1) / trials_per_round;
}

std::uint32_t History::BlockHistory::left_to_place() const {
  if (stopped || recheck_begins || (placement && placement->is_precise())) return 0;
  return to_place - presented;
}

std::uint32_t History::BlockHistory::left_to_recheck() const {
  if (stopped) return 0;
  return recheck_begins ? recheck - (presented - *recheck_begins) : recheck;
}

/// Of one that is presented, or is the next to be.
bool History::BlockHistory::is_recheck(std::uint32_t trial) const {
  if (recheck_begins) return trial >= *recheck_begins;
  return trial == presented && left_to_place() == 0;
}

void History::took(const TrialId& id) {
  if (id.block == base::reference_block) {
    reference_spot_ = spot();
    references_ = id.number + 1;
    since_reference_ = 0;
    void_reference_.reset();
    return;
  }
  BlockHistory& block = blocks_.at(id.block);
  if (id.attempt == 0) {
    if (id.number != block.presented) throw std::logic_error("History: a trial out of turn");
    if (!block.recheck_begins && block.is_recheck(id.number)) block.recheck_begins = id.number;
    ++block.presented;
  } else {
    const auto found = std::find(block.to_repeat.begin(), block.to_repeat.end(), id);
    if (found == block.to_repeat.end()) throw std::logic_error("History: a repeat nobody asked");
    block.to_repeat.erase(found);
  }
  last_spot_ = block.spot;
  ++slots_;
  ++since_reference_;
}

void History::voided(const TrialId& id) {
  const TrialId repeat{id.block, id.number, id.attempt + 1};
  if (id.block == base::reference_block) {
    void_reference_ = repeat;
    return;
  }
  BlockHistory& block = blocks_.at(id.block);
  if (id.number >= block.presented) throw std::logic_error("History: void before it was taken");
  std::uint32_t& newest_attempt = block.newest_attempts[id.number];
  if (newest_attempt > id.attempt) return;  // void for a second reason: it is repeated already
  newest_attempt = repeat.attempt;
  block.to_repeat.push_back(repeat);
  if (block.placement) block.placement->take_back(id.number);
}

void History::answered(const base::Trial& trial, const std::vector<bool>& heard) {
  if (trial.kind != base::TrialKind::rhythm) return;
  BlockHistory& block = blocks_.at(trial.id.block);
  // The re-check is held against what was known before it.
  if (!block.placement || block.is_recheck(trial.id.number)) return;
  block.placement->answered(trial.id.number, trial.taps.front().strike, heard);
}

void History::set_stopped(std::uint32_t block, bool stopped) {
  blocks_.at(block).stopped = stopped;
}

std::uint64_t History::remaining() const {
  std::uint64_t sum = 0;
  for (const BlockHistory& block : blocks_) sum += block.left();
  return sum;
}

/// The first spot with trials still to come; the last one's where there are none.
std::uint32_t History::spot_in_turn() const {
  std::optional<std::uint32_t> first;
  for (const BlockHistory& block : blocks_) {
    if (block.left() > 0 && (!first || block.spot < *first)) first = block.spot;
  }
  return first.value_or(last_spot_);
}

/// Reference taps that close a spot are made before the tapper leaves it.
std::uint32_t History::spot() const {
  if (void_reference_) return reference_spot_;
  return since_reference_ > 0 && references_ > 0 ? last_spot_ : spot_in_turn();
}

bool History::reference_is_due(std::uint32_t every_trials) const {
  if (references_ == 0 || since_reference_ >= every_trials) return true;
  const std::uint32_t next_spot = spot_in_turn();
  // Each spot is opened and closed by a group of them, as the run is.
  if (since_reference_ > 0) return remaining() == 0 || next_spot != last_spot_;
  return remaining() > 0 && next_spot != reference_spot_;
}

/// By block, the trials of which the next may be, at the spot in turn: all that are left, or those
/// of the round; re-checks once nothing else is left.
std::vector<std::int64_t> History::choices(BlockOrder order) const {
  const std::uint32_t spot = spot_in_turn();
  std::vector<std::int64_t> left;
  left.reserve(blocks_.size());
  for (const BlockHistory& block : blocks_) {
    left.push_back(block.spot == spot ? block.left_to_place() : 0);
  }
  if (std::all_of(left.begin(), left.end(), [](std::int64_t trials) { return trials == 0; })) {
    for (std::size_t i = 0; i < left.size(); ++i) {
      if (blocks_[i].spot == spot) left[i] = blocks_[i].left_to_recheck();
    }
    return left;
  }
  if (order == BlockOrder::in_order) return left;
  // Of round r (from 1) are the trials up to the share r / rounds of each block, rounded down: the
  // round of a block's next trial is the first that has more than it has presented.
  std::int64_t round = rounds_;
  for (std::size_t i = 0; i < left.size(); ++i) {
    if (left[i] == 0) continue;
    const std::int64_t needed = (std::int64_t{blocks_[i].presented} + 1) * rounds_;
    round = std::min(round, (needed + blocks_[i].to_place - 1) / blocks_[i].to_place);
  }
  for (std::size_t i = 0; i < left.size(); ++i) {
    const std::int64_t share = round * blocks_[i].to_place / rounds_;
    left[i] = std::min(left[i], std::max<std::int64_t>(0, share - blocks_[i].presented));
  }
  return left;
}

std::optional<TrialId> History::next_first(std::uint64_t seed, BlockOrder order) const {
  const std::vector<std::int64_t> left = choices(order);
  const std::int64_t total = std::accumulate(left.begin(), left.end(), std::int64_t{0});
  if (total == 0) return std::nullopt;
  // Each of these trials is equally likely, so all orders are: the draw counts through them block
  // by block. In order is the draw that always takes the first.
  const base::DrawKey key{.seed = seed,
                          .block = interleave_block,
                          .trial = slots_,
                          .purpose = base::Purpose::interleave};
  std::int64_t ahead = order == BlockOrder::in_order ? 0 : base::uniform_between(key, 0, total - 1);
  std::uint32_t index = 0;
  while (ahead >= left[index]) ahead -= left[index++];
  return TrialId{.block = index, .number = blocks_[index].presented};
}

std::optional<TrialId> History::next_repeat() const {
  const std::uint32_t spot = spot_in_turn();
  for (const BlockHistory& block : blocks_) {
    const bool may = !block.stopped && block.spot == spot;
    if (may && !block.to_repeat.empty()) return block.to_repeat.front();
  }
  return std::nullopt;
}

base::Trial History::drawn(const Scenario& scenario, const TrialId& id) const {
  base::Trial trial = draw_trial(scenario, id);
  if (id.block == base::reference_block || !blocks_[id.block].placement) return trial;
  const BlockHistory& block = blocks_[id.block];
  const base::StrikeSpeed strike =
      block.is_recheck(id.number) ? block.placement->threshold() : block.placement->next();
  for (base::Tap& tap : trial.taps) tap.strike = strike;
  return trial;
}

std::optional<base::Trial> next(const Scenario& scenario, const History& history) {
  if (history.void_reference_) return history.drawn(scenario, *history.void_reference_);
  if (scenario.reference && history.reference_is_due(scenario.reference->every_trials)) {
    return history.drawn(scenario, {.block = base::reference_block, .number = history.references_});
  }
  auto id = history.next_first(scenario.seed, scenario.order);
  if (!id) id = history.next_repeat();
  if (!id) return std::nullopt;
  return history.drawn(scenario, *id);
}

PlannedCounts planned_counts(const Scenario& scenario) {
  PlannedCounts planned;
  for (const Block& block : scenario.blocks) {
    if (block.quiet) {
      planned.quiet += block.window * (block.trials - 1) + block.last_window;
    } else if (scenario.rhythms[block.rhythm].is_distractor()) {
      planned.distractors += block.trials;
    } else {
      planned.expecting += block.trials;
    }
  }
  return planned;
}

base::Duration expected_duration(const Scenario& scenario) {
  // In microseconds, which hold any scenario: parse_scenario asks this before it
  // knows that the plan is short enough for nanoseconds.
  Microseconds sum{};
  std::int64_t trials = 0;
  for (const Block& block : scenario.blocks) {
    sum += (std::int64_t{block.trials} - 1) * expected_stride(scenario, block, block.window) +
           expected_stride(scenario, block, block.last_window);
    trials += block.trials;
  }
  sum += expected_reference_time(scenario, trials);
  return std::min<Microseconds>(sum,
                                std::chrono::duration_cast<Microseconds>(base::Duration::max()));
}

}  // namespace plexor::scenario
