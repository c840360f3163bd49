#include "analysis/presentation.hpp"

namespace plexor::analysis {

Contacts planned_contacts(const journal::TrialPlanned& planned) {
  const auto& taps = planned.trial.taps;
  return {.first = planned.start,
          .last = taps.empty() ? planned.start : planned.start + taps.back().contact};
}

Contacts contacts_of(const journal::TrialPlanned& planned, const journal::TrialDone& done,
                     bool contact_sensed) {
  const bool sensed =
      contact_sensed && !done.contacts.empty() && done.contacts.size() == planned.trial.taps.size();
  if (!sensed) return planned_contacts(planned);
  return {.first = done.contacts.front(), .last = done.contacts.back()};
}

}  // namespace plexor::analysis
