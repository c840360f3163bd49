#include "analysis/listeners.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>

#include "base/error.hpp"
#include "journal_builder.hpp"

namespace plexor::analysis {
namespace {

using ::testing::DoubleEq;
using ::testing::ElementsAre;
using ::testing::Optional;
using ::testing::SizeIs;

const journal::ListenerFacts serial{"serial", "port /dev/ttyUSB0", 16ms};
const journal::ListenerFacts broker{"broker", "topic knock at broker:1883", 100us};

std::vector<std::string> names_of(const DeviceResult& device) {
  std::vector<std::string> names;
  for (const ListenerResult& listener : device.listeners) names.push_back(listener.name);
  return names;
}

TEST(Listeners, ADeviceWithoutAnyIsHeardByOneThatAddsNothing) {
  const Results results = JournalBuilder().hears(3, 4).results();
  const DeviceResult& device = results.devices.at(0);
  ASSERT_THAT(device.listeners, SizeIs(1));
  EXPECT_EQ(device.listeners[0].detection.x, 3U);
  EXPECT_FALSE(device.listeners[0].beside.has_value());
  EXPECT_EQ(device.listeners[0].latency_budget.combined(), 0.0);
}

TEST(Listeners, TheSameEventByTwoIsOneWithTwoLatencies) {
  JournalBuilder journal;
  journal.listeners({serial, broker});
  for (const auto later : {10ms, 20ms, 30ms}) {
    journal.knock().heard("call", 400ms).heard("call", 400ms + later, 0, 1);
  }
  const Results results = journal.ended().results();
  const DeviceResult& device = results.devices.at(0);
  EXPECT_THAT(names_of(device), ElementsAre("serial", "broker"));
  EXPECT_EQ(device.detection.x, 3U);
  EXPECT_EQ(device.duplicates, 0U);
  EXPECT_THAT(device.listeners[0].rhythms[0].median_ms, Optional(DoubleEq(400.0)));
  EXPECT_THAT(device.listeners[1].rhythms[0].median_ms, Optional(DoubleEq(420.0)));
  const Beside& beside = device.listeners[1].beside.value();
  EXPECT_EQ(beside.both, 3U);
  EXPECT_THAT(beside.later.ms, Optional(DoubleEq(20.0)));
}

TEST(Listeners, WhatGotLostOnTheWayIsCountedAndVerdictsAreAboutTheFirst) {
  JournalBuilder journal;
  journal.listeners({broker, serial}).accept("detection_rate = { at_least = 0.9 }");
  journal.knock().heard("call", 400ms).heard("call", 395ms, 0, 1);
  journal.knock().heard("call", 395ms, 0, 1);
  journal.knock().heard("call", 400ms);
  const Results results = journal.ended().results();
  const DeviceResult& device = results.devices.at(0);
  EXPECT_EQ(device.detection.x, 2U);
  EXPECT_EQ(results.verdicts.at(0).n, 3U);
  EXPECT_THAT(results.verdicts.at(0).estimate, Optional(DoubleEq(2.0 / 3.0)));
  const Beside& beside = device.listeners[1].beside.value();
  EXPECT_EQ(beside.both, 1U);
  EXPECT_EQ(beside.only_here, 1U);
  EXPECT_EQ(beside.only_first, 1U);
}

TEST(Listeners, AFalseAlarmHeardByBothIsOneForEach) {
  JournalBuilder journal;
  journal.listeners({serial, broker});
  journal.quiet(1h).heard("call", 10s).heard("call", 10s + 20ms, 0, 1).heard("call", 60s, 0, 1);
  const Results results = journal.ended().results();
  const DeviceResult& device = results.devices.at(0);
  EXPECT_EQ(device.false_alarms.incidents, 1U);
  EXPECT_EQ(device.listeners[1].false_alarms.incidents, 2U);
  EXPECT_EQ(results.findings_total, 1U);
}

TEST(Listeners, AVoidTrialCountsForNone) {
  JournalBuilder journal;
  journal.listeners({serial, broker});
  journal.knock().heard("call", 400ms, 0, 1).voided(base::VoidReason::listener_down);
  const Results results = journal.ended().results();
  EXPECT_EQ(results.devices.at(0).listeners[1].detection.n, 0U);
  EXPECT_EQ(results.devices.at(0).listeners[1].beside->only_here, 0U);
}

TEST(Listeners, RefusesAListenerThatTheRigDoesNotHave) {
  JournalBuilder journal;
  journal.listeners({serial}).knock().heard("call", 400ms, 0, 1);
  EXPECT_THROW((void)journal.ended().results(), base::InputError);
}

TEST(LatencyBudget, IsOfTheStampsWhereContactIsSensed) {
  const Budget budget = latency_budget({.contact_sensed = true, .transit_sd = 1ms}, serial);
  // 16 ms and 0.1 ms of full width: 4.62 ms (GUM F.2.2.1), and next to nothing.
  EXPECT_NEAR(budget.combined(), std::hypot(16.0, 0.1) / std::sqrt(12.0), 1e-12);
  EXPECT_NEAR(budget.combined(), 4.62, 0.005);
}

TEST(LatencyBudget, HasTheTransitWhereContactIsNotSensed) {
  const Budget budget = latency_budget({.contact_sensed = false, .transit_sd = 1'200us}, serial);
  EXPECT_NEAR(budget.combined(), std::hypot(16.0 / std::sqrt(12.0), 1.2), 1e-12);
}

}  // namespace
}  // namespace plexor::analysis
