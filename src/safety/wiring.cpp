#include "safety/wiring.hpp"

#include <fmt/format.h>

#include <array>

namespace plexor::safety {

namespace {

using base::Duration;
using base::to_ms;
using namespace std::chrono_literals;

// A tick of the warden and some lateness must fit in; people and coils bear the upper ends.
constexpr Duration shortest_age = 20ms;
constexpr Duration longest_age = 500ms;
constexpr Duration highest_longest_on = 300ms;

}  // namespace

std::optional<Refusal> check_tiers(const Limits& limits, const Tiers& tiers) {
  struct Order {
    const char* lower_name;
    Duration lower;
    const char* upper_name;
    Duration upper;
  };
  const std::array orders{
      Order{"the plan's longest pulse", limits.max_pulse, "the warden's longest pulse",
            tiers.longest_pulse},
      Order{"the warden's longest pulse", tiers.longest_pulse, "the longest on-time outside",
            tiers.longest_on},
      Order{"the longest on-time outside", tiers.longest_on, "the ceiling of this build",
            highest_longest_on + Duration{1}},
      Order{"what a tick of the warden needs", shortest_age - Duration{1}, "the heartbeat's age",
            tiers.heartbeat_age},
      Order{"the heartbeat's age", tiers.heartbeat_age, "the ceiling of this build",
            longest_age + Duration{1}},
      Order{"what a tick of the warden needs", shortest_age - Duration{1}, "the one-shot",
            tiers.one_shot},
      Order{"the one-shot", tiers.one_shot, "the ceiling of this build", longest_age + Duration{1}},
  };
  for (const Order& order : orders) {
    if (order.lower < order.upper) continue;
    return Refusal{"tiers", fmt::format("{} is {:.9g} ms; less than {}, {:.9g} ms, would fit",
                                        order.lower_name, to_ms(order.lower), order.upper_name,
                                        to_ms(order.upper))};
  }
  return std::nullopt;
}

}  // namespace plexor::safety
