#include "analysis/analyse.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cstddef>
#include <optional>
#include <string>
#include <utility>
#include <variant>
#include <vector>

#include "analysis/conclusion.hpp"
#include "analysis/figures.hpp"
#include "analysis/findings.hpp"
#include "analysis/listeners.hpp"
#include "analysis/presentation_queue.hpp"
#include "analysis/remarks.hpp"
#include "analysis/sequential_verdicts.hpp"
#include "analysis/soak/run_course.hpp"
#include "analysis/tally.hpp"
#include "analysis/timeline.hpp"
#include "analysis/verdicts.hpp"
#include "base/error.hpp"
#include "base/stretch.hpp"
#include "judge/sequential_limits.hpp"
#include "scenario/planner.hpp"

namespace plexor::analysis {
namespace {

/// The scenario as this run is judged by it: with the tapper clear of the
/// surface no event is expected, every answer is false, and limits on what
/// should be heard have nothing to judge.
scenario::Scenario judged_scenario(const journal::Header& header) {
  scenario::Scenario scenario =
      scenario::parse_scenario(header.scenario_text, header.scenario_file);
  if (!header.lifted) return scenario;
  for (scenario::Rhythm& rhythm : scenario.rhythms) rhythm.expects.clear();
  scenario.accept.detection_rate.reset();
  scenario.accept.confusion_rate.reset();
  scenario.accept.latencies.clear();
  return scenario;
}

constexpr base::Duration latest_telling = std::chrono::seconds{1};
/// Only a journal that was tampered with tells of more: sums of it must not overflow.
constexpr base::Duration longest_run{std::int64_t{1} << 60};

base::StrikeSpeed mean_strike(const std::vector<base::Tap>& taps) {
  std::int64_t sum = 0;
  for (const base::Tap& tap : taps) sum += tap.strike.um_s;
  return {taps.empty() ? 0 : sum / static_cast<std::int64_t>(taps.size())};
}

}  // namespace

/// A presentation goes: planned (open_) -> done (queue_, which holds it for as long as the loss of
/// a listener may go unnoticed, or, where there is quiet, a disturbance unmarked) -> released to
/// the tallies.
class Analysis::Fold {
 public:
  explicit Fold(std::function<void(const TrialRow&)> row) : row_(std::move(row)) {}

  void take(const journal::Entry& entry);
  Results finish(const journal::ReadSummary& reading, bool is_live);

 private:
  void on(const journal::Header& header);
  void on(const journal::Host& host);
  void on(const journal::Segment& segment);
  void on(const journal::TrialPlanned& planned);
  void on(const journal::TrialDone& done);
  void on(const journal::Heard& heard);
  void on(const journal::ListenerState& state);
  void on(const journal::ReferenceShift& shift);
  void on(const journal::LeaveEnded& left) { reach(left.at); }
  void on(const journal::Moved& moved) { reach(moved.at); }
  void on(const journal::RawLine& line) { reach(line.at); }
  void on(const journal::ClockSet& clock);
  void on(const journal::LeaveGiven& leave) { reach(leave.at); }
  void on(const journal::Disturbance& disturbance);
  void on(const journal::PowerCycle& cycle);
  void on(const journal::Ended& ended);

  void begin_tallies();
  void check_planned(const base::Trial& trial) const;
  void check_device(std::uint32_t device) const;
  void close_open();
  void interrupt_open();
  void finish_segment();
  void lose_segment();
  void release(Presentation& presentation);
  void count_rhythm(const Presentation& presentation);
  void count_quiet(Presentation& presentation);
  [[nodiscard]] std::uint64_t count_spared() const;
  void count_up();
  [[nodiscard]] std::vector<Judged> judge_devices();
  [[nodiscard]] base::Duration run_time(base::Instant at) const {
    return segment_begin_ + at.time_since_epoch();
  }
  void reach(base::Instant at) { segment_end_ = std::max(segment_end_, at); }

  std::function<void(const TrialRow&)> row_;
  Results results_;
  std::optional<scenario::Scenario> scenario_;
  std::optional<judge::Judge> judge_;
  std::optional<judge::SequentialLimits> sequential_;
  std::vector<std::uint64_t> valid_by_block_;

  std::optional<Presentation> open_;
  std::optional<PresentationQueue> queue_;
  bool group_passed_ = false;  ///< good unless a ReferenceShift follows at once

  std::optional<std::uint32_t> segment_;
  base::Duration segment_begin_{};           ///< on the run's own time
  base::Instant segment_end_;                ///< the latest instant seen in it
  std::vector<base::Instant> last_arrival_;  ///< in it, by device

  std::vector<ListenersTally> tallies_;
  std::vector<StrengthCurves> curves_;  ///< by device, of a surface scenario
  Findings findings_;
  Timeline timeline_;
  std::optional<RunCourse> course_;
  base::Duration quiet_{};
  std::uint64_t presentations_ = 0;  ///< of rhythms
  std::uint64_t void_presentations_ = 0;
};

void Analysis::Fold::take(const journal::Entry& entry) {
  const bool is_header = std::holds_alternative<journal::Header>(entry.record);
  if (is_header == scenario_.has_value()) {
    throw base::InputError(fmt::format(
        "journal: record {} is {}; expected one header, at the start; the file is no plexor "
        "journal or was put together from several",
        entry.sequence, is_header ? "a second header" : "no header"));
  }
  std::visit([this](const auto& record) { on(record); }, entry.record);
}

void Analysis::Fold::on(const journal::Header& header) {
  results_.header = header;
  scenario_ = judged_scenario(header);
  results_.scenario_name = scenario_->name;
  results_.purpose = scenario::to_text(scenario_->purpose);
  const scenario::PlannedCounts planned = scenario::planned_counts(*scenario_);
  results_.trials_planned = planned.expecting + planned.distractors;
  results_.quiet_hours_planned = to_hours(planned.quiet);
  results_.may_stop_early = scenario_->accept.may_stop_early();
  results_.max_void_fraction = scenario_->accept.max_void_fraction;
  results_.spots = scenario_->spots;
  const bool has_quiet = planned.quiet > base::Duration::zero();
  queue_.emplace(has_quiet ? base::longest_unmarked : base::longest_unnoticed,
                 scenario_->reference.has_value(),
                 [this](Presentation& presentation) { release(presentation); });
  begin_tallies();
}

void Analysis::Fold::begin_tallies() {
  const auto& rig = results_.header.rig;
  std::vector<std::uint32_t> listeners;
  for (const journal::DeviceFacts& device : rig.devices) {
    tallies_.emplace_back(device, scenario_->rhythms, rig);
    listeners.push_back(tallies_.back().listeners());
  }
  if (scenario_->purpose == scenario::ScenarioPurpose::surface) {
    for (std::size_t device = 0; device < tallies_.size(); ++device) {
      curves_.emplace_back(*scenario_, rig.calibrated ? "m/s" : "");
    }
  }
  sequential_.emplace(*scenario_, static_cast<std::uint32_t>(listeners.size()));
  valid_by_block_.resize(scenario_->blocks.size());
  course_.emplace(*scenario_, listeners.size());
  judge_.emplace(std::move(listeners), scenario_->incident_window);
  last_arrival_.resize(tallies_.size());
}

/// A resumed run may have another: the first is the one that began it.
void Analysis::Fold::on(const journal::Host& host) {
  if (!results_.host) results_.host = host;
}

void Analysis::Fold::on(const journal::Segment& segment) {
  if (segment_ || segment_end_ > base::segment_start) finish_segment();
  course_->watch().segment(segment, segment_begin_, results_.ended);
  segment_ = segment_ ? *segment_ + 1 : 0;
  results_.ended.reset();  // the run went on
}

void Analysis::Fold::on(const journal::TrialPlanned& planned) {
  if (planned.start < segment_end_) lose_segment();  // the record that began a new one is lost
  if (open_) interrupt_open();
  if (std::exchange(group_passed_, false)) queue_->clear_settled(segment_end_);
  check_planned(planned.trial);
  const base::Trial& trial = planned.trial;
  const Contacts contacts = planned_contacts(planned);
  const bool is_rhythm = trial.kind == base::TrialKind::rhythm;
  judge_->present({.id = trial.id,
                   .kind = trial.kind,
                   .rhythm = is_rhythm ? trial.rhythm : 0,
                   .expects = is_rhythm ? scenario_->rhythms[trial.rhythm].expects : "",
                   .first_contact = contacts.first,
                   .last_contact = contacts.last,
                   .window = trial.window});
  open_ = queue_->fresh();
  open_->planned = planned;
  open_->segment = segment_.value_or(0);
  open_->segment_begin = segment_begin_;
  reach(planned.start);
}

void Analysis::Fold::check_planned(const base::Trial& trial) const {
  const bool of_a_block = trial.kind != base::TrialKind::reference;
  if (of_a_block && trial.id.block >= scenario_->blocks.size()) {
    throw base::InputError(fmt::format(
        "journal: a trial of block {}; its scenario has {}; the journal was not written from the "
        "scenario in its header",
        trial.id.block + 1, scenario_->blocks.size()));
  }
  if (trial.kind != base::TrialKind::rhythm || trial.rhythm < scenario_->rhythms.size()) return;
  throw base::InputError(fmt::format(
      "journal: trial {} of block {} presents rhythm {}; its scenario has {}; the journal was not "
      "written from the scenario in its header",
      trial.id.number, trial.id.block, trial.rhythm, scenario_->rhythms.size()));
}

void Analysis::Fold::check_device(std::uint32_t device) const {
  if (device < tallies_.size()) return;
  throw base::InputError(fmt::format(
      "journal: it tells of device {}; its rig has {}; the journal was not written from "
      "the rig in its header",
      device, tallies_.size()));
}

void Analysis::Fold::on(const journal::TrialDone& done) {
  reach(done.end);
  // Its plan may be among damaged lines: without it there is nothing to judge.
  if (!open_ || open_->planned.trial.id != done.id) return;
  open_->done = done;
  // Only quiet that was listened to for its whole length counts as listening time.
  const journal::TrialPlanned& planned = open_->planned;
  if (planned.trial.kind == base::TrialKind::quiet && !done.void_reason &&
      done.end - planned.start < planned.trial.window) {
    open_->done.void_reason = base::VoidReason::interrupted;
  }
  close_open();
}

void Analysis::Fold::on(const journal::Heard& heard) {
  const base::Event& event = heard.event;
  check_device(event.device);
  if (event.listener >= tallies_[event.device].listeners()) {
    throw base::InputError(fmt::format(
        "journal: device {} was heard by listener {}; its rig has {}; the journal was not written "
        "from the rig in its header",
        event.device, event.listener, tallies_[event.device].listeners()));
  }
  // What a listener stamped before another is sometimes told after it. Further back lies only
  // what belongs to a segment whose record is lost.
  if (event.arrival + latest_telling < last_arrival_[event.device]) lose_segment();
  last_arrival_[event.device] = event.arrival;
  reach(event.arrival);
  judge_->hear(event);
  const bool is_quiet = open_ && open_->planned.trial.kind == base::TrialKind::quiet;
  if (is_quiet && event.listener == 0) {
    open_->quiet_heard.push_back(event);
  }
}

void Analysis::Fold::on(const journal::ListenerState& state) {
  check_device(state.device);
  course_->watch().listener(state, run_time(state.at));
  reach(state.at);
  if (!state.up) queue_->void_those_after(state.at);
}

void Analysis::Fold::on(const journal::ReferenceShift& shift) {
  reach(shift.at);
  group_passed_ = false;
  queue_->void_uncleared();
  queue_->clear_settled(segment_end_);
}

void Analysis::Fold::on(const journal::ClockSet& clock) {
  course_->watch().clock_set(clock, run_time(clock.at));
  reach(clock.at);
}

/// Its instants lie in the past, and say nothing of how far the run has come.
void Analysis::Fold::on(const journal::Disturbance& disturbance) {
  const base::Instant from = std::max(disturbance.believed_from(), base::segment_start);
  course_->marks().add(disturbance, {run_time(from), run_time(disturbance.to)});
}

void Analysis::Fold::on(const journal::PowerCycle& cycle) {
  check_device(cycle.device);
  course_->power_cycle(cycle, run_time(cycle.at));
  reach(cycle.at);
}

void Analysis::Fold::on(const journal::Ended& ended) {
  reach(ended.at);
  results_.ended = ended;
}

void Analysis::Fold::interrupt_open() {
  open_->done = {.id = open_->planned.trial.id,
                 .end = segment_end_,
                 .actual = {},
                 .contacts = {},
                 .void_reason = base::VoidReason::interrupted};
  close_open();
}

void Analysis::Fold::close_open() {
  const journal::TrialDone& done = open_->done;
  const Contacts contacts = contacts_of(open_->planned, done, results_.header.rig.contact_sensed);
  const bool good_group =
      open_->planned.trial.kind == base::TrialKind::reference && !done.void_reason;
  std::optional<judge::Settled> before =
      judge_->close(contacts.first, contacts.last, done.void_reason);
  queue_->add(std::move(*open_));
  open_.reset();
  if (before) queue_->settle(*std::move(before), segment_end_);
  if (good_group) group_passed_ = true;
}

void Analysis::Fold::finish_segment() {
  if (open_) interrupt_open();
  if (auto last = judge_->finish()) queue_->settle(*std::move(last), segment_end_);
  const base::Duration end = run_time(segment_end_);
  course_->marks().segment_over(end);
  course_->watch().segment_over(end);
  queue_->segment_over(segment_end_);
  segment_begin_ = std::min(end, longest_run);
  segment_end_ = base::segment_start;
  std::fill(last_arrival_.begin(), last_arrival_.end(), base::segment_start);
}

/// Instants begin anew, but the record that says so is among damaged lines.
void Analysis::Fold::lose_segment() {
  finish_segment();
  course_->watch().segment_lost(segment_begin_);
}

void Analysis::Fold::release(Presentation& presentation) {
  const judge::Settled& settled = *presentation.settled;
  const base::TrialKind kind = presentation.planned.trial.kind;
  if (row_) row_({&presentation.planned, &presentation.done, &settled, presentation.segment});
  course_->released(presentation);
  if (kind == base::TrialKind::reference) return;
  if (kind == base::TrialKind::rhythm) ++presentations_;
  if (settled.void_reason) {
    ++results_.voids[static_cast<std::size_t>(*settled.void_reason)];
    if (kind == base::TrialKind::rhythm) ++void_presentations_;
  } else if (kind == base::TrialKind::rhythm) {
    count_rhythm(presentation);
  } else {
    count_quiet(presentation);
  }
}

void Analysis::Fold::count_rhythm(const Presentation& presentation) {
  sequential_->count(*presentation.settled);
  course_->rhythm(presentation);
  ++results_.trials_valid;
  ++valid_by_block_.at(presentation.planned.trial.id.block);
  const judge::Settled& settled = *presentation.settled;
  const base::Trial& trial = presentation.planned.trial;
  const base::StrikeSpeed strike = mean_strike(trial.taps);
  const double at_s = presentation.run_time_s(settled.trial.first_contact);
  for (std::uint32_t device = 0; device < tallies_.size(); ++device) {
    const judge::Answer& answer = settled.answers[device];
    const bool wrong = is_wrong(answer.outcome);
    tallies_[device].rhythm_answer(trial.rhythm, strike, answer);
    if (!curves_.empty() && !settled.trial.expects.empty()) {
      curves_[device].count(trial, strike, answer.outcome == base::Outcome::hit);
    }
    timeline_.answer(at_s, wrong);
    if (wrong) {
      findings_.wrong_answer(presentation, device, scenario_->rhythms[trial.rhythm].name);
    }
  }
}

void Analysis::Fold::count_quiet(Presentation& presentation) {
  // From here on without what was disturbed.
  const std::vector<base::Stretch> undisturbed = course_->quiet(presentation);
  const base::Duration begin = presentation.run_time(presentation.planned.start);
  sequential_->count_quiet(*presentation.settled, base::since(begin, undisturbed));
  quiet_ += presentation.planned.trial.window;
  const judge::Settled& settled = *presentation.settled;
  for (std::uint32_t device = 0; device < tallies_.size(); ++device) {
    tallies_[device].quiet_answer(settled.answers[device]);
    for (const base::Instant at : settled.answers[device].incidents) {
      timeline_.alarm(presentation.run_time_s(at));
    }
  }
  findings_.quiet_alarms(presentation);
}

/// Planned trials of blocks that ended early because what they were for was known.
std::uint64_t Analysis::Fold::count_spared() const {
  std::uint64_t spared = 0;
  for (std::uint32_t i = 0; i < scenario_->blocks.size(); ++i) {
    const scenario::Block& block = scenario_->blocks[i];
    const bool complete =
        results_.ended && results_.ended->reason == journal::Ended::Reason::complete;
    const bool ended_early =
        block.is_adaptive() ? complete : !results_.header.lifted && sequential_->is_known(i);
    if (!block.quiet && ended_early && valid_by_block_[i] < block.trials) {
      spared += block.trials - valid_by_block_[i];
    }
  }
  return spared;
}

void Analysis::Fold::count_up() {
  results_.duration_s = base::to_s(segment_begin_);
  results_.quiet_hours = to_hours(quiet_);
  if (presentations_ > 0) {
    results_.void_fraction =
        static_cast<double>(void_presentations_) / static_cast<double>(presentations_);
  }
  results_.trials_spared = count_spared();
  results_.findings_total = findings_.total();
  results_.findings = std::move(findings_).take();
  results_.timeline = std::move(timeline_).stretches(results_.duration_s);
}

std::vector<Judged> Analysis::Fold::judge_devices() {
  std::vector<DeviceEvidence> evidence;
  for (ListenersTally& tally : tallies_) {
    evidence.push_back(std::move(tally).evidence(course_->undisturbed()));
    evidence.back().result.remarks = remarks_on(evidence.back().result, *scenario_);
    course_->add_to(evidence.back(), evidence.size() - 1);
  }
  std::vector<Judged> judged = judge_limits(scenario_->accept, evidence, *sequential_);
  for (DeviceEvidence& device : evidence) {
    withdraw_fixed_intervals(device.result, scenario_->accept);
    if (!curves_.empty()) device.result.curves = curves_[results_.devices.size()].finish();
    results_.devices.push_back(std::move(device.result));
  }
  return judged;
}

Results Analysis::Fold::finish(const journal::ReadSummary& reading, bool is_live) {
  if (!scenario_) throw base::InputError("journal: no record; expected a header at the start");
  finish_segment();
  queue_->clear_settled(segment_end_);
  results_.reading = reading;
  results_.is_live = is_live && !results_.ended;
  count_up();
  const std::vector<Judged> judged = judge_devices();
  course_->add_to(results_);
  conclude(results_, judged);
  return std::move(results_);
}

Analysis::Analysis(std::function<void(const TrialRow&)> row)
    : fold_(std::make_unique<Fold>(std::move(row))) {}

Analysis::~Analysis() = default;

void Analysis::take(const journal::Entry& entry) { fold_->take(entry); }

Results Analysis::finish(const journal::ReadSummary& reading, bool is_live) {
  return fold_->finish(reading, is_live);
}

}  // namespace plexor::analysis
