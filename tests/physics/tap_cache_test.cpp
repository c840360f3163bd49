#include "virtual/physics/tap_cache.hpp"

#include <gtest/gtest.h>

namespace plexor::physics {
namespace {

using namespace std::chrono_literals;

TapConditions pulse_of(base::Duration pulse) {
  return {.pulse = pulse, .coil_mdegc = 20'000, .supply_mv = 12'000};
}

TEST(TapCache, GivesWhatAnIntegrationGives) {
  TapCache cache{Solenoid{}};
  const TapSummary& cached = cache.tap(pulse_of(11ms));
  const TapSummary fresh = tap(Solenoid{}, pulse_of(11ms));
  EXPECT_EQ(cached.contacts.front().at, fresh.contacts.front().at);
  EXPECT_EQ(cached.contacts.front().speed_m_s, fresh.contacts.front().speed_m_s);
}

TEST(TapCache, IntegratesEqualConditionsOnce) {
  TapCache cache{Solenoid{}};
  for (int i = 0; i < 5; ++i) (void)cache.tap(pulse_of(11ms));
  EXPECT_EQ(cache.integrated(), 1U);
}

TEST(TapCache, TellsConditionsApartByTheSmallestUnit) {
  TapCache cache{Solenoid{}};
  TapConditions conditions = pulse_of(11ms);
  (void)cache.tap(conditions);
  conditions.pulse += 1ns;
  (void)cache.tap(conditions);
  conditions.coil_mdegc += 1;
  (void)cache.tap(conditions);
  conditions.supply_mv += 1;
  (void)cache.tap(conditions);
  EXPECT_EQ(cache.integrated(), 4U);
}

TEST(TapCache, NeverHoldsMoreThanItsCapacityAndForgetsTheLeastRecentlyUsed) {
  TapCache cache(Solenoid{}, 2);
  (void)cache.tap(pulse_of(10ms));
  (void)cache.tap(pulse_of(11ms));
  (void)cache.tap(pulse_of(10ms));
  (void)cache.tap(pulse_of(12ms));  // 11 ms goes
  EXPECT_EQ(cache.size(), 2U);
  (void)cache.tap(pulse_of(10ms));
  EXPECT_EQ(cache.integrated(), 3U);
  (void)cache.tap(pulse_of(11ms));
  EXPECT_EQ(cache.integrated(), 4U);
}

}  // namespace
}  // namespace plexor::physics
