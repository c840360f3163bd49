#include "analysis/performance/learned_rhythm.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>

#include "analysis/performance/made_performances.hpp"
#include "base/error.hpp"

namespace plexor::analysis {
namespace {

using made::performances_at;
using made::performances_drawn;
using made::scenario_around;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;

/// Everything from performances to the text.
struct Lesson {
  RhythmTiming timing;
  std::optional<KnockStrength> strength;
  LearnedRhythm learned;
  std::string text;

  explicit Lesson(const std::vector<Performance>& performances)
      : timing(timing_of(performances, 0.95)),
        strength(knock_strength(performances, 0.95)),
        learned(learned_rhythm("made", timing, strength)),
        text(scenario_text(learned, timing, strength)) {}
};

constexpr const char* help = R"([rhythm.made]
contacts_ms = [0, 400, 600, 800, 1200]
[jitter]
model = "human"
tempo_cv = 0.06
motor_sd_ms = 8
)";

bool holds(const Estimated& estimated, double truth) {
  return estimated.interval.lower <= truth && truth <= estimated.interval.upper;
}

TEST(LearnedRhythm, IsTakenByAScenario) {
  const Lesson lesson(performances_drawn(scenario_around(help, "{ mean = 0.9, cv = 0.2 }", 3, 40)));
  const auto scenario =
      scenario::parse_scenario(scenario_around(lesson.text, "0.9", 1, 10), "learned.toml");
  EXPECT_EQ(scenario.rhythms.at(0).contacts, lesson.learned.rhythm.contacts);
  EXPECT_EQ(scenario.jitter.model, scenario::Jitter::Model::human);
  EXPECT_EQ(scenario.jitter.tempo_cv_ppm, lesson.learned.jitter.tempo_cv_ppm);
  EXPECT_EQ(scenario.jitter.motor_sd, lesson.learned.jitter.motor_sd);
  EXPECT_THAT(lesson.text, HasSubstr("# strike_m_s = { mean = 0.9, cv = 0."));
  EXPECT_NEAR(*lesson.learned.strike_cv, 0.2, 0.03);
}

TEST(LearnedRhythm, ReplayedAndLearnedAgainIsTheSame) {
  const Lesson first(performances_drawn(scenario_around(help, "{ mean = 0.9, cv = 0.2 }", 3, 200)));
  const std::string strike =
      "{ mean = 0.9, cv = " + std::to_string(*first.learned.strike_cv) + " }";
  const Lesson second(performances_drawn(scenario_around(first.text, strike, 4, 200)));
  EXPECT_TRUE(holds(first.timing.parts.clock_cv, 0.06 * made::truncated_sd));
  EXPECT_TRUE(holds(*first.timing.parts.motor_sd_ms, 8.0 * made::truncated_sd));
  EXPECT_TRUE(holds(second.timing.parts.clock_cv, first.timing.parts.replay_clock_cv));
  EXPECT_TRUE(holds(*second.timing.parts.motor_sd_ms, first.timing.parts.replay_motor_sd_ms));
  EXPECT_TRUE(holds(second.strength->cv, first.strength->cv.value));
  for (std::size_t place = 0; place < first.timing.places.size(); ++place) {
    const double sd = first.timing.places[place].sd_ms;
    EXPECT_NEAR(second.timing.places[place].sd_ms / sd, 1.0, 0.2);
    EXPECT_NEAR(second.timing.places[place].mean_ms.value, first.timing.places[place].mean_ms.value,
                0.3 * sd);
  }
}

TEST(LearnedRhythm, MakesUpForTheTruncationOfDraws) {
  std::vector<std::vector<double>> rows;
  for (const double at_ms : {950.0, 1000.0, 1050.0}) rows.push_back({0, at_ms});
  const Lesson lesson(performances_at(rows));
  EXPECT_NEAR(static_cast<double>(lesson.learned.jitter.tempo_cv_ppm), 50'000 / made::truncated_sd,
              60);
}

TEST(LearnedRhythm, WithJitterThatAScenarioRefusesSaysSoAndLeavesItOut) {
  const Lesson wild(performances_at({{0, 60, 300}, {0, 180, 300}, {0, 120, 400}, {0, 150, 280}}));
  EXPECT_THAT(wild.learned.jitter_refused, HasSubstr("could"));
  EXPECT_THAT(wild.text, HasSubstr("A scenario would refuse it: "));
  EXPECT_THAT(wild.text, HasSubstr("# tempo_cv = "));
  const auto scenario =
      scenario::parse_scenario(scenario_around(wild.text, "0.9", 1, 10), "learned.toml");
  EXPECT_EQ(scenario.jitter.model, scenario::Jitter::Model::none);
  const Lesson calm(performances_at({{0, 119, 300}, {0, 121, 300}, {0, 120, 301}}));
  EXPECT_THAT(calm.learned.jitter_refused, IsEmpty());
}

TEST(LearnedRhythm, ThatNoScenarioHoldsIsRefused) {
  std::vector<std::vector<double>> rows(3, {0});
  for (int k = 1; k <= 70; ++k) {
    for (std::size_t i = 0; i < 3; ++i) rows[i].push_back(100.0 * k + static_cast<double>(i));
  }
  EXPECT_THROW(Lesson{performances_at(rows)}, base::InputError);
  EXPECT_THROW(Lesson{performances_at({{0, 61'000}, {0, 61'100}, {0, 61'200}})}, base::InputError);
}

}  // namespace
}  // namespace plexor::analysis
