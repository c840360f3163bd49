#include "rig/ports.hpp"

#include <gtest/gtest.h>

namespace plexor::rig {
namespace {

using namespace std::chrono_literals;

TEST(InstantOf, IsWhenEachObservationWasMade) {
  const base::Instant at = base::segment_start + 5s;
  EXPECT_EQ(instant_of(ContactSensed{at}), at);
  EXPECT_EQ(instant_of(ListenerChanged{.device = 1, .up = false, .at = at}), at);
  base::Event event;
  event.arrival = at;
  EXPECT_EQ(instant_of(event), at);
}

TEST(InstantOf, IsTheEndOfAPulse) {
  const base::Pulse pulse{base::segment_start + 1s, 12ms};
  EXPECT_EQ(instant_of(PulseFired{.tap = 0, .actual = pulse}), base::segment_start + 1012ms);
}

}  // namespace
}  // namespace plexor::rig
