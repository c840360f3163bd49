#include "rig/ports.hpp"

#include <algorithm>

namespace plexor::rig {

namespace {

struct InstantOf {
  base::Instant operator()(const PulseFired& fired) const { return fired.actual.off(); }
  base::Instant operator()(const ContactSensed& contact) const { return contact.at; }
  base::Instant operator()(const GatePassed& passed) const { return passed.at; }
  base::Instant operator()(const base::Event& event) const { return event.arrival; }
  base::Instant operator()(const ListenerChanged& change) const { return change.at; }
  base::Instant operator()(const LineHeard& line) const { return line.at; }
  base::Instant operator()(const LeaveEnded& left) const { return left.at; }
  base::Instant operator()(const SamplesHeard& heard) const {
    const auto after_first = static_cast<std::int64_t>(heard.values.size()) - 1;
    return heard.first + std::max<std::int64_t>(after_first, 0) * heard.period;
  }
  base::Instant operator()(const DisturbanceSensed& sensed) const { return sensed.at; }
  base::Instant operator()(const ClockSeen& clock) const { return clock.at; }
};

}  // namespace

base::Instant instant_of(const Observation& observation) {
  return std::visit(InstantOf{}, observation);
}

}  // namespace plexor::rig
