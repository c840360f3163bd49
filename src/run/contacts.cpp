#include "run/contacts.hpp"

#include <algorithm>
#include <cstddef>

#include "run/schedule.hpp"

namespace plexor::run {

std::vector<std::uint32_t> contacts_by_pulse(const std::vector<base::Pulse>& pulses,
                                             const std::vector<base::Instant>& contacts) {
  std::vector<std::uint32_t> counts(pulses.size() + 1, 0);
  for (const base::Instant contact : contacts) {
    const auto after =
        std::find_if(pulses.begin(), pulses.end(),
                     [contact](const base::Pulse& pulse) { return pulse.on > contact; });
    const auto index = static_cast<std::size_t>(after - pulses.begin());
    const bool explained = index > 0 && contact <= pulses[index - 1].off() + contact_may_lag;
    ++counts[explained ? index - 1 : pulses.size()];
  }
  return counts;
}

std::vector<base::Instant> confirming(const std::vector<base::Pulse>& pulses,
                                      const std::vector<base::Instant>& heard, bool lifted) {
  std::vector<base::Instant> contacts;
  if (lifted) return contacts;
  for (const base::Pulse& pulse : pulses) {
    const auto first =
        std::find_if(heard.begin(), heard.end(), [&](base::Instant at) { return at > pulse.on; });
    if (first != heard.end() && *first <= pulse.off() + contact_may_lag) contacts.push_back(*first);
  }
  return contacts;
}

base::Duration mean_transit(const std::vector<base::Pulse>& pulses,
                            const std::vector<base::Instant>& contacts) {
  base::Duration sum{};
  for (std::size_t i = 0; i < pulses.size(); ++i) sum += contacts[i] - pulses[i].on;
  return sum / static_cast<std::int64_t>(pulses.size());
}

}  // namespace plexor::run
