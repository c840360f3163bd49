#include "judge/judge.hpp"

#include <algorithm>
#include <iterator>
#include <span>
#include <stdexcept>
#include <utility>

#include "judge/matching.hpp"

namespace plexor::judge {

namespace {

using Events = std::span<const base::Event>;

/// What one device reported for one trial, cut at the trial's window.
struct Heard {
  Events before;  ///< between the planned and the measured first contact: no answer yet
  Events within;
  Events after;
};

Heard cut_at_window(const Presented& trial, Events events) {
  const auto opens =
      std::ranges::lower_bound(events, trial.first_contact, {}, &base::Event::arrival);
  const auto closed =
      std::ranges::upper_bound(opens, events.end(), trial.closes(), {}, &base::Event::arrival);
  return {{events.begin(), opens}, {opens, closed}, {closed, events.end()}};
}

std::uint32_t count(Events events) { return static_cast<std::uint32_t>(events.size()); }

/// The event that answers the trial: what match() takes for its window.
const base::Event& answering(const Presented& trial, Events within) {
  std::vector<base::Instant> arrivals;
  arrivals.reserve(within.size());
  std::ranges::transform(within, std::back_inserter(arrivals), &base::Event::arrival);
  const AnswerWindow window{trial.first_contact, trial.last_contact, trial.closes()};
  return within[match(std::span(&window, 1), arrivals).front()];
}

base::Outcome outcome_of(const Presented& trial, const base::Event& event) {
  if (trial.expects.empty()) return base::Outcome::false_response;
  if (event.arrival < trial.last_contact) return base::Outcome::early;
  return event.name == trial.expects ? base::Outcome::hit : base::Outcome::confusion;
}

void set_event(Answer& answer, const Presented& trial, const base::Event& event) {
  answer.heard = event.name;
  answer.latency = event.arrival - trial.last_contact;
}

/// Nothing came within the window: a late answer makes up for one of the events after it.
void judge_unanswered(Answer& answer, const Presented& trial, Events after) {
  if (trial.expects.empty()) {
    answer.outcome = base::Outcome::correct_rejection;
    return;
  }
  answer.outcome = base::Outcome::miss;
  const auto late = std::ranges::find(after, trial.expects, &base::Event::name);
  if (late == after.end()) return;
  answer.outcome = base::Outcome::late;
  set_event(answer, trial, *late);
  --answer.gap_alarms;
}

Answer judge_rhythm(const Presented& trial, const Heard& heard) {
  Answer answer;
  answer.gap_alarms = count(heard.before) + count(heard.after);
  if (heard.within.empty()) {
    judge_unanswered(answer, trial, heard.after);
    return answer;
  }
  const base::Event& event = answering(trial, heard.within);
  answer.outcome = outcome_of(trial, event);
  answer.duplicates = count(heard.within) - 1;
  set_event(answer, trial, event);
  return answer;
}

Answer judge_quiet(const Heard& heard, base::Duration incident_window) {
  Answer answer;
  answer.gap_alarms = count(heard.before) + count(heard.after);
  answer.outcome =
      heard.within.empty() ? base::Outcome::correct_rejection : base::Outcome::false_response;
  const base::Event* last = nullptr;
  for (const base::Event& event : heard.within) {
    if (last == nullptr || event.arrival - last->arrival > incident_window)
      answer.incidents.push_back(event.arrival);
    last = &event;
  }
  if (last != nullptr) answer.heard = heard.within.front().name;
  return answer;
}

}  // namespace

Judge::Judge(std::vector<std::uint32_t> listeners, base::Duration incident_window)
    : listeners_(std::move(listeners)), incident_window_(incident_window) {}

void Judge::present(const Presented& trial) {
  if (current_) throw std::logic_error("Judge::present: the trial before is not closed");
  current_ = Open{trial, {}, {}};
  for (const std::uint32_t listeners : listeners_) current_->heard.emplace_back(listeners);
}

void Judge::hear(const base::Event& event) {
  const bool begun = current_ && event.arrival >= current_->trial.first_contact;
  std::optional<Open>& open = begun ? current_ : before_;
  if (!open) return;
  std::vector<base::Event>& heard = open->heard.at(event.device).at(event.listener);
  heard.insert(std::ranges::upper_bound(heard, event.arrival, {}, &base::Event::arrival), event);
}

std::optional<Settled> Judge::close(base::Instant first_contact, base::Instant last_contact,
                                    std::optional<base::VoidReason> void_reason) {
  if (!current_) throw std::logic_error("Judge::close: no trial was presented");
  current_->trial.first_contact = first_contact;
  current_->trial.last_contact = last_contact;
  current_->void_reason = void_reason;
  const std::optional<Open> settling = std::exchange(before_, std::move(current_));
  current_.reset();
  if (!settling) return std::nullopt;
  return settle(*settling);
}

std::optional<Settled> Judge::closed() const {
  if (!before_) return std::nullopt;
  return settle(*before_);
}

std::optional<Settled> Judge::finish() {
  current_.reset();
  const std::optional<Open> settling = std::exchange(before_, std::nullopt);
  if (!settling) return std::nullopt;
  return settle(*settling);
}

Settled Judge::settle(const Open& open) const {
  Settled settled{open.trial, open.void_reason, {}};
  if (open.trial.kind == base::TrialKind::reference) return settled;
  for (const auto& by_listener : open.heard) {
    Answer& answer = settled.answers.emplace_back(answer_of(open, by_listener.front()));
    for (std::size_t other = 1; other < by_listener.size(); ++other) {
      answer.beside.push_back(answer_of(open, by_listener[other]));
    }
  }
  return settled;
}

Answer Judge::answer_of(const Open& open, const std::vector<base::Event>& events) const {
  const Heard heard = cut_at_window(open.trial, events);
  return open.trial.kind == base::TrialKind::quiet ? judge_quiet(heard, incident_window_)
                                                   : judge_rhythm(open.trial, heard);
}

}  // namespace plexor::judge
