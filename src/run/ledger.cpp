#include "run/ledger.hpp"

#include <algorithm>
#include <chrono>
#include <utility>

#include "base/outcome.hpp"
#include "rig/hearing.hpp"
#include "run/contacts.hpp"
#include "run/schedule.hpp"

namespace plexor::run {

namespace {

bool is_among(const std::vector<base::TrialId>& trials, const base::TrialId& id) {
  return std::find(trials.begin(), trials.end(), id) != trials.end();
}

}  // namespace

Ledger::Ledger(const scenario::Scenario& scenario, const std::vector<rig::Device>& devices,
               bool lifted)
    : scenario_(&scenario),
      lifted_(lifted),
      history_(scenario, static_cast<std::uint32_t>(devices.size())),
      judge_(rig::listeners_of(devices), scenario.incident_window) {
  if (!lifted && scenario.accept.may_stop_early()) {
    sequential_.emplace(scenario, static_cast<std::uint32_t>(devices.size()));
  }
}

std::optional<base::Trial> Ledger::next() {
  auto trial = scenario::next(*scenario_, history_);
  while (trial && !may_tap_ && !trial->taps.empty()) {  // blocks that tap are stopped
    history_.took(trial->id);
    passed_over_ = trial->id;
    trial = scenario::next(*scenario_, history_);
  }
  return trial;
}

void Ledger::set_may_tap(bool may_tap) {
  may_tap_ = may_tap;
  stop_blocks();
  if (may_tap && passed_over_) history_.voided(*std::exchange(passed_over_, std::nullopt));
}

judge::Presented Ledger::presented(const journal::TrialPlanned& planned) const {
  const base::Trial& trial = planned.trial;
  const bool rhythm = trial.kind == base::TrialKind::rhythm;
  return {.id = trial.id,
          .kind = trial.kind,
          .rhythm = trial.rhythm,
          .expects = rhythm ? scenario_->rhythms.at(trial.rhythm).expects : std::string{},
          .first_contact = planned.start,
          .last_contact = last_contact(trial, planned.start),
          .window = trial.window};
}

void Ledger::planned(const journal::TrialPlanned& planned) {
  history_.took(planned.trial.id);
  shift_.reset();
  judge_.present(presented(planned));
  open_ = planned.trial.id;
}

Ledger::Closed Ledger::closed(const journal::TrialPlanned& planned,
                              const journal::TrialDone& done) {
  open_.reset();
  const base::Trial& trial = planned.trial;
  const bool measured = !trial.taps.empty() && done.contacts.size() == trial.taps.size();
  Closed closed;
  closed.settled = judge_.close(
      measured ? done.contacts.front() : planned.start,
      measured ? done.contacts.back() : last_contact(trial, planned.start), done.void_reason);
  settle(closed.settled);
  if (done.void_reason) {
    if (trial.kind != base::TrialKind::reference) ++count_.voids;
    history_.voided(trial.id);
  } else if (trial.kind == base::TrialKind::reference) {
    closed.shift = shift_ = assess_reference(done);
  } else {
    count_valid(trial, done.end);
  }
  return closed;
}

void Ledger::count_valid(const base::Trial& trial, base::Instant end) {
  ++count_.done;
  tell_history(trial);
  if (scenario_->reference) since_reference_.push_back(trial.id);
  lately_.push_back({trial.id, end});
  while (end - lately_.front().end > base::longest_unnoticed) lately_.pop_front();
}

/// How the trial was heard decides how hard the next one strikes.
void Ledger::tell_history(const base::Trial& trial) {
  if (trial.id.block >= scenario_->blocks.size() ||
      !scenario_->blocks[trial.id.block].is_adaptive()) {
    return;
  }
  const std::optional<judge::Settled> closed = judge_.closed();
  std::vector<bool> heard;
  for (const judge::Answer& answer : closed.value().answers) {
    heard.push_back(answer.outcome == base::Outcome::hit);
  }
  history_.answered(trial, heard);
}

void Ledger::settle(const std::optional<judge::Settled>& settled) {
  if (!settled) return;
  const bool counts = !settled->void_reason && !settled->trial.expects.empty();
  for (const judge::Answer& answer : settled->answers) {
    if (!counts) break;
    ++count_.expected;
    if (answer.outcome == base::Outcome::hit) ++count_.hits;
  }
  if (!sequential_) return;
  count_for_limits(*settled);
  stop_blocks();
}

void Ledger::count_for_limits(const judge::Settled& settled) {
  if (settled.void_reason || settled.trial.kind != base::TrialKind::quiet) {
    return sequential_->count(settled);
  }
  sequential_->count_quiet(settled, undisturbed_of(settled));
  lately_quiet_.push_back(settled);
  const base::Instant now = settled.trial.closes();
  while (now - lately_quiet_.front().trial.closes() > base::longest_unmarked) {
    lately_quiet_.pop_front();
  }
  const base::Duration oldest = lately_quiet_.front().trial.first_contact.time_since_epoch();
  std::erase_if(disturbed_, [oldest](const base::Stretch& one) { return one.to < oldest; });
}

/// Since the presentation's begin.
std::vector<base::Stretch> Ledger::undisturbed_of(const judge::Settled& quiet) const {
  const base::Duration begin = quiet.trial.first_contact.time_since_epoch();
  return base::since(begin, base::beside({begin, begin + quiet.trial.window}, disturbed_));
}

void Ledger::disturbed(const journal::Disturbance& told) {
  const base::Instant from = told.believed_from();
  if (!sequential_ || told.to < from) return;
  const base::Stretch mark{from.time_since_epoch(),
                           told.to.time_since_epoch() + scenario_->incident_window};
  disturbed_.insert(std::ranges::upper_bound(disturbed_, mark.from, {}, &base::Stretch::from),
                    mark);
  for (const judge::Settled& quiet : lately_quiet_) {
    const base::Duration begin = quiet.trial.first_contact.time_since_epoch();
    const bool is_touched = mark.from <= begin + quiet.trial.window && mark.to >= begin;
    if (is_touched) sequential_->correct_quiet(quiet, undisturbed_of(quiet));
  }
  sequential_->test_corrected();
  stop_blocks();
}

void Ledger::stop_blocks() {
  for (std::uint32_t block = 0; block < scenario_->blocks.size(); ++block) {
    const bool is_known = sequential_ && sequential_->is_known(block);
    const bool has_no_leave = !may_tap_ && !scenario_->blocks[block].quiet;
    history_.set_stopped(block, is_known || has_no_leave);
  }
}

/// A valid trial is void after all: it is repeated, and what it decided is open again.
void Ledger::take_back(const base::TrialId& id) {
  history_.voided(id);
  --count_.done;
  ++count_.voids;
  if (!sequential_) return;
  sequential_->take_back(id);
  stop_blocks();
}

std::optional<base::Duration> Ledger::assess_reference(const journal::TrialDone& done) {
  if (lifted_) return std::nullopt;  // nothing to measure
  const base::Duration transit = mean_transit(done.actual, done.contacts);
  if (!opening_transit_) opening_transit_ = transit;
  const base::Duration shift = transit - *opening_transit_;
  if (std::chrono::abs(shift) > scenario_->reference->transit_tolerance) return shift;
  since_reference_.clear();
  return std::nullopt;
}

std::uint32_t Ledger::take_back_since_reference() {
  const auto count = static_cast<std::uint32_t>(since_reference_.size());
  for (const base::TrialId& id : since_reference_) take_back(id);
  std::erase_if(lately_, [this](const Done& done) { return is_among(since_reference_, done.id); });
  since_reference_.clear();
  shift_.reset();
  return count;
}

void Ledger::take_back_unheard(base::Instant since) {
  while (!lately_.empty() && lately_.back().end > since) {
    const base::TrialId id = lately_.back().id;
    take_back(id);
    std::erase(since_reference_, id);
    lately_.pop_back();
  }
}

void Ledger::moved(std::uint32_t spot) {
  spot_ = spot;
  opening_transit_.reset();
  since_reference_.clear();
}

std::optional<judge::Settled> Ledger::finish() {
  std::optional<judge::Settled> settled = judge_.finish();
  settle(settled);
  return settled;
}

void Ledger::end_segment() {
  if (open_) {
    if (open_->block < scenario_->blocks.size()) ++count_.voids;  // else reference taps
    history_.voided(*std::exchange(open_, std::nullopt));
  }
  settle(judge_.finish());
  lately_.clear();
  lately_quiet_.clear();
  disturbed_.clear();
}

}  // namespace plexor::run
