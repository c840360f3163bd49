#include "analysis/soak/drift.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "analysis/figures.hpp"
#include "analysis/journal_builder.hpp"

namespace plexor::analysis {
namespace {

using ::testing::HasSubstr;
using ::testing::StartsWith;

/// Hours of one device called panel: 100 trials in each.
struct MadeHours {
  std::vector<RunHour> hours;
  std::vector<DeviceResult> devices{DeviceResult{.name = "panel"}};

  explicit MadeHours(const std::vector<std::uint64_t>& hits) {
    for (const std::uint64_t x : hits) {
      RunHour& hour = hours.emplace_back();
      hour.from_s = 3600.0 * static_cast<double>(hours.size() - 1);
      hour.to_s = hour.from_s + 3600.0;
      hour.devices.push_back({.detection = proportion_of(x, 100), .median_ms = 400.0});
    }
  }
  [[nodiscard]] std::vector<Drift> drifts(const std::vector<double>& alarms_h = {}) const {
    const std::vector<AlarmCourse> alarms{
        {.alarms_h = alarms_h, .listened_h = static_cast<double>(hours.size())}};
    return drifts_of(hours, devices, alarms);
  }
};

const Drift& drift_in(const std::vector<Drift>& drifts, std::string_view figure) {
  for (const Drift& drift : drifts) {
    if (drift.figure == figure) return drift;
  }
  throw std::out_of_range("not tested");
}

TEST(Drift, OfDetectionIsFoundWithItsSize) {
  const MadeHours falling({98, 97, 96, 95, 94, 93, 92, 91});
  const auto drifts = falling.drifts();
  const Drift& detection = drift_in(drifts, detection_drift);
  EXPECT_TRUE(detection.found);
  EXPECT_LT(detection.z, 0.0);
  // Kendall: 28 falling pairs, variance 8 * 7 * 21 / 18; with continuity correction.
  EXPECT_NEAR(detection.z, -27.0 / std::sqrt(8.0 * 7.0 * 21.0 / 18.0), 1e-9);
  EXPECT_NEAR(detection.from, 0.98, 1e-9);
  EXPECT_NEAR(detection.to, 0.91, 1e-9);
  EXPECT_THAT(drift_words(drifts, 8),
              StartsWith("panel's detection rate fell from 98.0 % to 91.0 % (Mann-Kendall"));
}

TEST(Drift, IsNotFoundInASteadyNight) {
  const MadeHours steady({95, 97, 94, 96, 95, 97, 96, 95});
  const auto drifts = steady.drifts({0.5, 2.2, 3.1, 4.4, 5.9, 7.2});
  EXPECT_EQ(drifts.size(), 3U);  // alarms, detection, latency
  EXPECT_EQ(drift_words(drifts, 8),
            "no drift found (3 tests in 8 hours, error 0.05 for all together)");
}

TEST(Drift, OfAlarmsGoesByTheirInstants) {
  const MadeHours steady({95, 97, 94, 96, 95, 97, 96, 95});
  const auto drifts = steady.drifts({1.0, 5.0, 6.0, 6.5, 7.0, 7.2, 7.4, 7.6, 7.8, 7.9});
  const Drift& alarms = drift_in(drifts, alarms_drift);
  EXPECT_EQ(alarms.test, "Laplace");
  // Cox & Lewis: mean instant 6.34 against 4, by 8 / sqrt(12 * 10).
  EXPECT_NEAR(alarms.z, (6.34 - 4.0) / (8.0 / std::sqrt(120.0)), 1e-9);
  EXPECT_TRUE(alarms.found);
  EXPECT_NEAR(alarms.from, 1.0 / 4.0, 1e-12);
  EXPECT_NEAR(alarms.to, 9.0 / 4.0, 1e-12);
  EXPECT_THAT(alarms.word,
              HasSubstr("0.25 per hour in the first half to 2.25 per hour in the second"));
}

TEST(Drift, OfAlarmsInBurstsGoesByHours) {
  MadeHours bursts({95, 97, 94, 96, 95, 97, 96, 95});
  bursts.devices.front().false_alarms.scatter = HourScatter{.hours = 8, .index = 6.0, .p = 0.001};
  for (RunHour& hour : bursts.hours) {
    hour.devices.front().false_alarms = alarm_rate_of(&hour == &bursts.hours[6] ? 9 : 0, 1h);
  }
  const auto drifts = bursts.drifts({6.1, 6.2, 6.3, 6.4, 6.5, 6.6, 6.7, 6.8, 6.9});
  const Drift& alarms = drift_in(drifts, alarms_drift);
  EXPECT_EQ(alarms.test, "Mann-Kendall");
  EXPECT_FALSE(alarms.found);  // one burst is no trend; Laplace's test would take it for one
}

TEST(Drift, OfTheTapperIsToldApart) {
  MadeHours steady({95, 97, 94, 96, 95, 97, 96, 95});
  for (RunHour& hour : steady.hours) hour.transit_ms = 4.8 + hour.from_s / 36'000.0;
  const auto alone = steady.drifts();
  EXPECT_TRUE(drift_in(alone, "transit").found);
  EXPECT_THAT(drift_words(alone, 8),
              StartsWith("no drift of a device found, though the tapper moved: "
                         "the tapper's transit rose from 4.800 ms to 5.500 ms"));
  MadeHours both({98, 97, 96, 95, 94, 93, 92, 91});
  for (RunHour& hour : both.hours) hour.transit_ms = 4.8 + hour.from_s / 36'000.0;
  EXPECT_THAT(drift_words(both.drifts(), 8), HasSubstr("; the tapper moved too: "));
}

TEST(Drift, AdjustsForAllThatIsTested) {
  MadeHours hours({98, 97, 96, 95, 94, 95, 92, 93});
  const Drift alone = drift_in(hours.drifts(), detection_drift);
  EXPECT_NEAR(alone.adjusted_p, 2.0 * alone.p, 1e-12);  // beside the steady latency
  for (RunHour& hour : hours.hours) hour.coil_c = 40.0;
  EXPECT_NEAR(drift_in(hours.drifts(), detection_drift).adjusted_p, 3.0 * alone.p, 1e-12);
}

TEST(Drift, NeedsSomeHoursWithEnoughInThem) {
  const MadeHours few({98, 97, 96, 95});
  EXPECT_TRUE(few.drifts({0.5, 1.5, 2.5}).empty());
  EXPECT_THAT(drift_words({}, 4), StartsWith("too short to look for drift: 4 hours"));
  MadeHours thin({98, 97, 96, 95, 94});
  thin.hours.back().devices.front().detection = proportion_of(4, 4);
  EXPECT_TRUE(thin.drifts().empty());
}

TEST(Drift, TakesAnAlarmWithTheFirstMomentOfListening) {
  const MadeHours steady({95, 97, 94, 96, 95});
  EXPECT_TRUE(drift_in(steady.drifts({0.0, 0.0, 0.0, 0.0, 0.1, 0.1, 0.2}), alarms_drift).found);
}

TEST(Drift, IsSaidOfAWholeNight) {
  JournalBuilder journal;
  for (int hour = 0; hour < 8; ++hour) {
    for (int trial = 0; trial < 20; ++trial) {
      journal.knock();
      if (trial >= hour) journal.heard("call", 400ms + hour * 5ms);
    }
    journal.quiet(59min);
  }
  const Results results = journal.ended().results();
  ASSERT_TRUE(results.soak);
  EXPECT_THAT(results.soak->drift_word,
              HasSubstr("panel's detection rate fell from 100.0 % to 65.0 %"));
  EXPECT_THAT(results.soak->drift_word, HasSubstr("panel's latency median rose from 4"));
}

}  // namespace
}  // namespace plexor::analysis
