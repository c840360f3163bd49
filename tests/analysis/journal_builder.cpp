#include "analysis/journal_builder.hpp"

#include <algorithm>
#include <utility>

#include "base/toml_reader.hpp"

namespace plexor::analysis {
namespace {

constexpr const char* world = R"(
[scenario]
name = "release check, oak counter"
purpose = "regression"
seed = 7
[rhythm.call]
contacts_ms = [0, 190]
expects = "call"
[rhythm.mug-down]
contacts_ms = [0, 120]
expects = "nothing"
)";

/// As many trials as were presented, so that a complete journal is the planned one.
std::string block_text(const std::string& rhythm, std::uint32_t trials) {
  if (trials == 0) return "";
  return "[[block]]\nrhythm = \"" + rhythm + "\"\ntrials = " + std::to_string(trials) +
         "\nstrike_m_s = 0.9\nwindow_ms = 1200\ngap_ms = [1500, 2500]\n";
}

constexpr const char* reference_taps_text = R"(
[reference]
every_trials = 5
taps = 3
strike_m_s = 0.8
transit_tolerance_ms = 0.5
)";

constexpr base::Duration window = 1200ms;

}  // namespace

JournalBuilder& JournalBuilder::accept(const std::string& limit) {
  accept_ += limit + "\n";
  return *this;
}

JournalBuilder& JournalBuilder::plans(std::uint32_t calls) {
  planned_calls_ = calls;
  return *this;
}

JournalBuilder& JournalBuilder::with_reference_taps() {
  reference_ = true;
  return *this;
}

JournalBuilder& JournalBuilder::devices(const std::vector<std::string>& names) {
  header_.rig.devices.clear();
  for (const std::string& name : names) header_.rig.devices.push_back({.name = name});
  return *this;
}

JournalBuilder& JournalBuilder::listeners(const std::vector<journal::ListenerFacts>& facts) {
  header_.rig.devices.front().listeners = facts;
  return *this;
}

JournalBuilder& JournalBuilder::uncalibrated() {
  header_.rig.calibrated = false;
  return *this;
}

JournalBuilder& JournalBuilder::contact_not_sensed() {
  header_.rig.contact_sensed = false;
  return *this;
}

JournalBuilder& JournalBuilder::lifted() {
  header_.lifted = true;
  return *this;
}

JournalBuilder& JournalBuilder::began(const journal::Segment& segment) {
  first_segment_ = segment;
  return *this;
}

JournalBuilder& JournalBuilder::on(const journal::Host& host) {
  host_ = host;
  return *this;
}

JournalBuilder& JournalBuilder::knock(std::uint32_t rhythm) {
  const base::StrikeSpeed strike{900'000};
  base::Trial trial{.id = {.block = rhythm, .number = next_number_[rhythm]++},
                    .kind = base::TrialKind::rhythm,
                    .rhythm = rhythm,
                    .taps = {{.contact = 0ms, .strike = strike}},
                    .window = window,
                    .gap = 2s};
  trial.taps.push_back({.contact = rhythm == call ? 190ms : 120ms, .strike = strike});
  present(std::move(trial));
  return *this;
}

JournalBuilder& JournalBuilder::again() {
  close();
  base::Trial trial = last_;
  ++trial.id.attempt;
  present(std::move(trial));
  return *this;
}

JournalBuilder& JournalBuilder::quiet(base::Duration length) {
  present({.id = {.block = quiet_block, .number = next_number_[quiet_block]++},
           .kind = base::TrialKind::quiet,
           .window = length});
  return *this;
}

JournalBuilder& JournalBuilder::reference_taps() {
  present({.id = {.block = base::reference_block, .number = next_number_[base::reference_block]++},
           .kind = base::TrialKind::reference,
           .taps = {{.contact = 0ms, .strike = {800'000}}},
           .window = 300ms,
           .gap = 1s});
  return *this;
}

JournalBuilder& JournalBuilder::strike(double m_s) {
  for (base::Tap& tap : current_->planned.trial.taps) {
    tap.strike = base::strike_speed_from_m_s(m_s);
  }
  return *this;
}

JournalBuilder& JournalBuilder::heard(const std::string& name, base::Duration after,
                                      std::uint32_t device, std::uint32_t listener) {
  current_->heard.push_back(
      {.device = device, .name = name, .arrival = last_contact() + after, .listener = listener});
  return *this;
}

JournalBuilder& JournalBuilder::sensed_late_by(base::Duration delay) {
  current_->contact_delay = delay;
  return *this;
}

JournalBuilder& JournalBuilder::voided(base::VoidReason reason) {
  current_->void_reason = reason;
  return *this;
}

JournalBuilder& JournalBuilder::never_done() {
  current_->done = false;
  return *this;
}

JournalBuilder& JournalBuilder::transit(base::Duration each) {
  current_->transit = each;
  return *this;
}

JournalBuilder& JournalBuilder::coil(double degrees_c) {
  current_->planned.coil_mc = static_cast<std::int32_t>(1000.0 * degrees_c);
  return *this;
}

JournalBuilder& JournalBuilder::meanwhile(journal::Record record) {
  current_->meanwhile.push_back(std::move(record));
  return *this;
}

JournalBuilder& JournalBuilder::tell(journal::Record record) {
  close();
  append(std::move(record));
  return *this;
}

base::Instant JournalBuilder::now() {
  close();
  return now_;
}

JournalBuilder& JournalBuilder::shift() {
  close();
  append(journal::ReferenceShift{.at = now_, .shift = 1ms, .voided = 0});
  return *this;
}

JournalBuilder& JournalBuilder::unheard_for(base::Duration length) {
  close();
  append(journal::ListenerState{.device = 0, .up = false, .at = now_ - length});
  append(journal::ListenerState{.device = 0, .up = true, .at = now_});
  return *this;
}

JournalBuilder& JournalBuilder::restart_unrecorded() {
  close();
  now_ = base::segment_start + 1s;
  return *this;
}

JournalBuilder& JournalBuilder::restart() { return restart({.boot_id = "virtual"}); }

JournalBuilder& JournalBuilder::restart(const journal::Segment& segment) {
  restart_unrecorded();
  append(segment);
  return *this;
}

JournalBuilder& JournalBuilder::ended(journal::Ended::Reason reason) {
  close();
  append(journal::Ended{.reason = reason, .detail = "", .at = now_});
  return *this;
}

JournalBuilder& JournalBuilder::damaged(std::uint64_t line, bool torn_tail) {
  reading_.damages.push_back({.line = line, .torn_tail = torn_tail, .what = "checksum differs"});
  ++reading_.damage_count;
  return *this;
}

JournalBuilder& JournalBuilder::hears(std::uint64_t hits, std::uint64_t trials) {
  for (std::uint64_t i = 0; i < trials; ++i) {
    knock();
    if (i < hits) heard("call", 400ms);
  }
  return ended();
}

Results JournalBuilder::results(const std::function<void(const TrialRow&)>& row, bool is_live) {
  close();
  header_.scenario_file = "oak.toml";
  header_.scenario_text = scenario_text();
  Analysis analysis(row);
  analysis.take({.sequence = 0, .record = header_});
  if (host_) analysis.take({.sequence = 1, .record = *host_});
  analysis.take({.sequence = 1, .record = first_segment_});
  for (const journal::Entry& entry : entries_) analysis.take(entry);
  return analysis.finish(reading_, is_live);
}

void JournalBuilder::present(base::Trial trial) {
  close();
  last_ = trial;
  current_ = Current{.planned = {.trial = std::move(trial), .start = now_}};
}

void JournalBuilder::close() {
  if (!current_) return;
  const Current current = *std::exchange(current_, std::nullopt);
  const base::Trial& trial = current.planned.trial;
  append(current.planned);
  base::Instant end = current.planned.start + trial.window;
  journal::TrialDone done{.id = trial.id, .void_reason = current.void_reason};
  for (const base::Tap& tap : trial.taps) {
    end = current.planned.start + tap.contact + trial.window;
    if (header_.lifted) continue;
    done.contacts.push_back(current.planned.start + tap.contact + current.contact_delay);
    if (current.transit > base::Duration::zero()) {
      done.actual.push_back({.on = done.contacts.back() - current.transit});
    }
  }
  done.end = end + current.contact_delay;
  auto event = current.heard.begin();
  for (; event != current.heard.end() && event->arrival <= done.end; ++event) {
    append(journal::Heard{*event});
  }
  for (const journal::Record& record : current.meanwhile) append(record);
  if (current.done) append(done);
  for (; event != current.heard.end(); ++event) append(journal::Heard{*event});
  now_ = done.end + 3s;
}

void JournalBuilder::append(journal::Record record) {
  entries_.push_back({.sequence = entries_.size() + 2, .record = std::move(record)});
}

std::string JournalBuilder::scenario_text() const {
  const auto presented = [this](std::uint32_t block) {
    const auto found = next_number_.find(block);
    return found == next_number_.end() ? 0 : found->second;
  };
  const std::string quiet = "[[block]]\nquiet_s = 3600\n";
  const std::string second =
      presented(mug_down) > 0 ? block_text("mug-down", presented(mug_down)) : quiet;
  return std::string(world) + block_text("call", std::max(presented(call), planned_calls_)) +
         second + quiet + (reference_ ? reference_taps_text : "") + "[accept]\n" + accept_;
}

base::Instant JournalBuilder::last_contact() const {
  const auto& taps = current_->planned.trial.taps;
  return current_->planned.start + (taps.empty() ? base::Duration{} : taps.back().contact);
}

}  // namespace plexor::analysis
