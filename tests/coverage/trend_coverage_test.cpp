#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <string>
#include <vector>

#include "analysis/history/trend.hpp"
#include "analysis/made_history.hpp"

// Many drawn histories whose truth is known: of those in which nothing changes hardly any may be
// named anything, and what does change must be found.

namespace plexor::analysis {
namespace {

constexpr std::uint64_t clean_histories = 150;
constexpr std::uint64_t changed_histories = 20;

bool has(const Trend& trend, FindingKind kind, const std::string& unit, Figure figure) {
  return std::ranges::any_of(trend.findings, [&](const TrendFinding& one) {
    return one.kind == kind && one.unit == unit && one.figure == figure;
  });
}

TEST(TrendCoverage, OfAnUnchangingHistoryNothingIsNamed) {
  std::uint64_t named = 0;
  std::uint64_t marked = 0;
  for (std::uint64_t seed = 1; seed <= clean_histories; ++seed) {
    const Trend trend = trend_of(made_history(steady_nights(14, seed)));
    named += trend.findings.empty() ? 0U : 1U;
    for (const TrendSeries& series : trend.series) {
      for (const TrendPoint& point : series.points) marked += point.marks.empty() ? 0U : 1U;
    }
    if (!trend.findings.empty()) std::printf("%s\n", trend.headline.c_str());
  }
  std::printf("named: %llu of %llu clean histories; %.1f marks on the charts of each\n",
              static_cast<unsigned long long>(named),
              static_cast<unsigned long long>(clean_histories),
              static_cast<double>(marked) / static_cast<double>(clean_histories));
  const double alpha = TrendSettings{}.alpha;
  const auto n = static_cast<double>(clean_histories);
  EXPECT_LE(static_cast<double>(named), n * alpha + 3.0 * std::sqrt(n * alpha * (1.0 - alpha)));
  EXPECT_GT(marked, clean_histories);  // the charts' own signals come often: that is why
}

/// How many of the changed histories are named so.
template <typename Change, typename Found>
std::uint64_t found_of(Change change, Found found) {
  std::uint64_t count = 0;
  for (std::uint64_t seed = 1; seed <= changed_histories; ++seed) {
    std::vector<MadeNight> nights = steady_nights(14, 1000 + seed);
    for (MadeNight& night : nights) change(night);
    count += found(trend_of(made_history(nights))) ? 1U : 0U;
  }
  return count;
}

TEST(TrendCoverage, AReleaseThatDriftsIsFound) {
  const auto found = found_of(
      [](MadeNight& night) {
        if (night.number < 8) return;
        night.units[0].release = "1.5";
        night.units[0].detects -= 0.012 * (night.number - 8);
      },
      [](const Trend& trend) {
        return has(trend, FindingKind::drift, "panel", Figure::detection);
      });
  std::printf("drift: %llu\n", static_cast<unsigned long long>(found));
  EXPECT_GE(found, changed_histories * 7 / 10);
}

TEST(TrendCoverage, AReleaseThatIsWorseFromItsFirstNightIsFound) {
  const auto found = found_of(
      [](MadeNight& night) {
        if (night.number < 8) return;
        night.units[0].release = "1.5";
        night.units[0].detects = 0.95;
      },
      [](const Trend& trend) {
        return std::ranges::any_of(trend.findings, [](const TrendFinding& one) {
          return one.kind == FindingKind::step && one.unit == "panel" &&
                 one.nights.front() == "2026-06-09" && one.cause == Cause::release;
        });
      });
  std::printf("step: %llu\n", static_cast<unsigned long long>(found));
  EXPECT_GE(found, changed_histories * 8 / 10);
}

TEST(TrendCoverage, ADeafNightIsFound) {
  const auto found = found_of(
      [](MadeNight& night) {
        if (night.number == 6) night.units[1].detects = 0.4;
      },
      [](const Trend& trend) {
        return trend.findings.size() == 1 && trend.findings[0].kind == FindingKind::odd_night &&
               trend.findings[0].nights.front() == "2026-06-07";
      });
  std::printf("odd night: %llu\n", static_cast<unsigned long long>(found));
  EXPECT_GE(found, changed_histories * 9 / 10);
}

TEST(TrendCoverage, SlowerAnswersAreFound) {
  const auto found = found_of(
      [](MadeNight& night) {
        if (night.number >= 6) night.units[1].median_ms += 8.0;
      },
      [](const Trend& trend) {
        return has(trend, FindingKind::step, "glass door", Figure::median);
      });
  std::printf("latency: %llu\n", static_cast<unsigned long long>(found));
  EXPECT_GE(found, changed_histories * 9 / 10);
}

// Whether a slow rise is told as a drift or as a step is a matter of its draws.
TEST(TrendCoverage, MoreAlarmsFromNightToNightAreFound) {
  const auto found =
      found_of([](MadeNight& night) { night.units[0].alarms_per_hour = 0.4 + 0.25 * night.number; },
               [](const Trend& trend) {
                 return has(trend, FindingKind::drift, "panel", Figure::alarms) ||
                        has(trend, FindingKind::step, "panel", Figure::alarms);
               });
  std::printf("alarms: %llu\n", static_cast<unsigned long long>(found));
  EXPECT_GE(found, changed_histories * 8 / 10);
}

TEST(TrendCoverage, AnHourOfAlarmsIsFound) {
  std::uint64_t found = 0;
  for (std::uint64_t seed = 1; seed <= changed_histories; ++seed) {
    std::vector<RunFigures> runs = made_history(steady_nights(14, 2000 + seed));
    for (RunFigures& run : runs) {
      run.devices[0].by_hour[5].incidents += 2;
      run.devices[0].incidents += 2;
    }
    const Trend trend = trend_of(runs);
    found += has(trend, FindingKind::alarm_hours, "panel", Figure::alarms) ? 1U : 0U;
  }
  std::printf("hours: %llu\n", static_cast<unsigned long long>(found));
  EXPECT_GE(found, changed_histories * 8 / 10);
}

TEST(TrendCoverage, NightsThatScatterAreNamedAsThat) {
  std::uint64_t scatter = 0;
  std::uint64_t other = 0;
  for (std::uint64_t seed = 1; seed <= changed_histories; ++seed) {
    std::vector<MadeNight> nights = steady_nights(14, 3000 + seed);
    for (MadeNight& night : nights) {  // two kinds of nights, mixed by a hash of their number
      const bool bad =
          (night.number * 2654435761U + static_cast<std::uint32_t>(seed) * 40503U) & 0x8000U;
      if (bad) night.units[0].detects = 0.90;
    }
    const Trend trend = trend_of(made_history(nights));
    scatter += has(trend, FindingKind::scatter, "panel", Figure::detection) ? 1U : 0U;
    other += has(trend, FindingKind::drift, "panel", Figure::detection) ||
                     has(trend, FindingKind::step, "panel", Figure::detection)
                 ? 1U
                 : 0U;
  }
  std::printf("scatter: %llu, taken for a change: %llu\n", static_cast<unsigned long long>(scatter),
              static_cast<unsigned long long>(other));
  EXPECT_GE(scatter, changed_histories * 6 / 10);
  EXPECT_LE(other, changed_histories * 4 / 10);
}

}  // namespace
}  // namespace plexor::analysis
