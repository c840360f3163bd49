#include "run/rehearsal.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/error.hpp"
#include "conductor/bench_setup.hpp"

namespace plexor::run {
namespace {

using ::testing::AllOf;
using ::testing::HasSubstr;

std::string replaced(std::string text, const std::string& from, const std::string& to) {
  const auto at = text.find(from);
  EXPECT_NE(at, std::string::npos) << from;
  return text.replace(at, from.size(), to);
}

Rehearsal rehearse_texts(const std::string& scenario, const std::string& rig) {
  return rehearse(scenario::parse_scenario(scenario, "s.toml"), "s.toml",
                  rig::parse_rig(rig, "r.toml"));
}

std::string refusal_of(const std::string& scenario, const std::string& rig) {
  try {
    (void)rehearse_texts(scenario, rig);
  } catch (const base::InputError& error) {
    return error.what();
  }
  return "accepted";
}

TEST(Rehearsal, CountsWhatARunWithoutVoidsDoes) {
  const std::string text = scenario_text(40);
  Bench bench(text);
  const auto ended = bench.run();
  const Rehearsal found = rehearse_texts(text, rig_text);
  EXPECT_EQ(found.trials, 40U);
  EXPECT_EQ(found.taps, bench.tapper.fired.size());
  EXPECT_EQ(found.length, ended.at - base::segment_start);
  EXPECT_GT(found.peak_winding_c, 23.0);
}

TEST(Rehearsal, RefusesStrikesOutsideTheCalibration) {
  const std::string text = replaced(scenario_text(5), "strike_m_s = 0.9", "strike_m_s = 1.6");
  EXPECT_THAT(refusal_of(text, rig_text),
              AllOf(HasSubstr("block 1"), HasSubstr("1.600"), HasSubstr("0.300 to 1.500")));
}

TEST(Rehearsal, RefusesContactsCloserThanTheActuatorAllows) {  // [S40]
  const std::string text = replaced(scenario_text(5), "[0, 190]", "[0, 45]");
  EXPECT_THAT(refusal_of(text, rig_text), AllOf(HasSubstr("45.0 ms apart"), HasSubstr("at least")));
}

TEST(Rehearsal, RefusesAnImpactOverTheEnergyLimit) {  // [S40]
  const std::string rig = replaced(rig_text, "max_energy_mj = 50", "max_energy_mj = 4");
  EXPECT_THAT(refusal_of(scenario_text(5), rig), HasSubstr("within the rig's energy limit"));
}

TEST(Rehearsal, RefusesReferenceTapsOverTheEnergyLimit) {  // [S40]
  const std::string rig = replaced(rig_text, "max_energy_mj = 50", "max_energy_mj = 5");
  const std::string text = scenario_text(
      5, "[reference]\nevery_trials = 2\nstrike_m_s = 1.2\ntransit_tolerance_ms = 1\n");
  EXPECT_THAT(refusal_of(text, rig), AllOf(HasSubstr("energy limit"), HasSubstr("[reference]")));
}

TEST(Rehearsal, LetsContactsPassThatAreJustFarEnoughApart) {  // [S40]
  // A strike of 0.9 m/s takes 10 ms, and the rest is 40 ms.
  EXPECT_EQ(refusal_of(replaced(scenario_text(5), "[0, 190]", "[0, 50]"), rig_text), "accepted");
  EXPECT_THAT(refusal_of(replaced(scenario_text(5), "[0, 190]", "[0, 49.999]"), rig_text),
              HasSubstr("at least 50.0 ms"));
}

TEST(Rehearsal, RefusesARigWithoutCalibration) {
  std::string rig = rig_text;
  const auto begin = rig.find("[calibration]");
  rig.erase(begin, rig.find("[[device]]") - begin);
  EXPECT_THAT(refusal_of(scenario_text(5), rig), HasSubstr("calibrate the rig"));
}

TEST(Rehearsal, RefusesReferenceTapsWithoutAContactSensor) {
  const std::string rig = replaced(rig_text, "tip-switch", "none");
  const std::string text = scenario_text(
      5, "[reference]\nevery_trials = 2\nstrike_m_s = 0.9\ntransit_tolerance_ms = 1\n");
  EXPECT_THAT(refusal_of(text, rig), HasSubstr("contact sensor"));
}

TEST(Rehearsal, RefusesAPlanThatOverheatsTheCoilAndNamesTheTrial) {  // [S40]
  const std::string rig = replaced(rig_text, "max_coil_c = 90", "max_coil_c = 34");
  EXPECT_THAT(refusal_of(scenario_text(500), rig),
              AllOf(HasSubstr("trial "), HasSubstr("coil temperature")));
}

TEST(Rehearsal, RefusesAPlanOverTheDutyAndNamesTheTrial) {  // [S40]
  const std::string rig = replaced(rig_text, "duty_percent = 25", "duty_percent = 0.5");
  EXPECT_THAT(refusal_of(scenario_text(500), rig), AllOf(HasSubstr("trial "), HasSubstr("duty")));
}

}  // namespace
}  // namespace plexor::run
