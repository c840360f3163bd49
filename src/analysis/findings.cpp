#include "analysis/findings.hpp"

#include <algorithm>
#include <cstddef>
#include <utility>

namespace plexor::analysis {
namespace {

void describe_taps(Finding& finding, const Presentation& presentation) {
  for (const base::Tap& tap : presentation.planned.trial.taps) {
    finding.strike_m_s.push_back(base::to_m_s(tap.strike));
    if (&tap == &presentation.planned.trial.taps.front()) continue;
    finding.commanded_ms.push_back(base::to_ms(tap.contact));
  }
  const auto& contacts = presentation.done.contacts;
  for (std::size_t i = 1; i < contacts.size(); ++i) {
    finding.measured_ms.push_back(base::to_ms(contacts[i] - contacts.front()));
  }
}

std::string name_heard(const Presentation& quiet, std::uint32_t device, base::Instant arrival) {
  const auto& heard = quiet.quiet_heard;
  const auto event = std::find_if(heard.begin(), heard.end(), [&](const base::Event& candidate) {
    return candidate.device == device && candidate.arrival == arrival;
  });
  return event == heard.end() ? std::string{} : event->name;
}

Finding alarm(const Presentation& quiet, std::uint32_t device, base::Instant arrival) {
  Finding finding;
  finding.at = arrival;
  finding.segment = quiet.segment;
  finding.run_s = quiet.run_time_s(finding.at);
  finding.device = device;
  finding.what = "false alarm";
  finding.trial = quiet.planned.trial.id;
  finding.heard = name_heard(quiet, device, arrival);
  return finding;
}

}  // namespace

void Findings::wrong_answer(const Presentation& presentation, std::uint32_t device,
                            const std::string& rhythm) {
  ++total_;
  if (full()) return;
  const judge::Answer& answer = presentation.settled->answers[device];
  Finding finding;
  finding.at = presentation.settled->trial.first_contact;
  finding.segment = presentation.segment;
  finding.run_s = presentation.run_time_s(finding.at);
  finding.device = device;
  finding.what = base::to_text(answer.outcome);
  finding.trial = presentation.planned.trial.id;
  finding.rhythm = rhythm;
  describe_taps(finding, presentation);
  finding.heard = answer.heard;
  if (answer.latency) finding.latency_ms = base::to_ms(*answer.latency);
  finding.duplicates = answer.duplicates;
  found_.push_back(std::move(finding));
}

void Findings::quiet_alarms(const Presentation& presentation) {
  std::vector<Finding> alarms;
  const auto& answers = presentation.settled->answers;
  for (std::uint32_t device = 0; device < answers.size(); ++device) {
    for (const base::Instant arrival : answers[device].incidents) {
      alarms.push_back(alarm(presentation, device, arrival));
    }
  }
  std::stable_sort(alarms.begin(), alarms.end(),
                   [](const Finding& a, const Finding& b) { return a.at < b.at; });
  total_ += alarms.size();
  for (Finding& finding : alarms) {
    if (!full()) found_.push_back(std::move(finding));
  }
}

bool is_wrong(base::Outcome outcome) {
  return outcome != base::Outcome::hit && outcome != base::Outcome::correct_rejection;
}

}  // namespace plexor::analysis
