#include "virtual/simulation.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/error.hpp"
#include "workshop.hpp"

namespace plexor::virtual_rig {
namespace {

using ::testing::AllOf;
using ::testing::HasSubstr;

constexpr auto oak = "rig/simulated-oak.toml";

Simulation parse(const std::string& text, const rig::RigFile& rig = workshop_rig()) {
  return parse_simulation(text, "rig.toml", rig);
}

/// The shipped rig's text with one passage replaced, which must be there.
std::string oak_with(const std::string& passage, const std::string& instead) {
  std::string text = read_source_file(oak);
  const auto at = text.find(passage);
  EXPECT_NE(at, std::string::npos) << passage;
  return at == std::string::npos ? text : text.replace(at, passage.size(), instead);
}

std::string error_of(const std::string& text, const rig::RigFile& rig = workshop_rig()) {
  try {
    (void)parse(text, rig);
  } catch (const base::InputError& error) {
    return error.what();
  }
  return "no error";
}

TEST(ParseSimulation, ReadsTheShippedOak) {
  const Simulation simulation = parse(read_source_file(oak));
  ASSERT_TRUE(simulation.sensor);
  EXPECT_EQ(simulation.sensor->surface.plate.material.name, "oak");
  EXPECT_EQ(simulation.sensor->surface.plate.thickness_m, 0.038);
  EXPECT_EQ(simulation.sensor->surface.tap.along_m, 0.3);
  EXPECT_EQ(simulation.sensor->disc.seismic_kg, 0.005);
  EXPECT_EQ(simulation.sensor->disturbances.size(), 4U);
  EXPECT_EQ(simulation.tapper.solenoid.resistance_20c_ohm, workshop_rig().coil.resistance_20c_ohm);
  EXPECT_GE(std::get<FirmwareSettings>(simulation.devices.at(0)).rhythms.size(), 3U);
}

TEST(ParseSimulation, ReadsWhatNightsDoToADevice) {
  const std::string known = "lockout_ms = 90";
  const Simulation simulation =
      parse(oak_with(known, known + "\nhangs_at_s = [3600, 60.5]\nboot_ms = 1500") +
            "[simulated.device.ageing]\nsince = \"2026-06-08\"\ngain_per_day = -0.02\n"
            "[simulated.power_cut]\nat_s = 7200\n");
  EXPECT_THAT(simulation.lives.at(0).hangs_at, testing::ElementsAre(3600s, 60'500ms));
  EXPECT_EQ(simulation.lives.at(0).boot, 1500ms);
  EXPECT_EQ(simulation.power_cut, base::segment_start + 7200s);
  const auto& ageing = std::get<FirmwareSettings>(simulation.devices.at(0)).ageing;
  ASSERT_TRUE(ageing);
  EXPECT_EQ(ageing->since_ns, 1'780'876'800'000'000'000);  // date -u -d 2026-06-08 +%s
  EXPECT_EQ(ageing->gain_per_day, -0.02);
}

TEST(ParseSimulation, RefusesADayThatIsNone) {
  for (const std::string day : {"yesterday", "2026-06-31", "2026-06-08T22:00:00", ""}) {
    EXPECT_THAT(error_of(read_source_file(oak) + "[simulated.device.ageing]\nsince = \"" + day +
                         "\"\ngain_per_day = -0.02\n"),
                AllOf(HasSubstr("since"), HasSubstr("2026-06-08")))
        << day;
  }
}

constexpr auto dice_text = R"([simulated.tapper]
[[simulated.device]]
model = "dice"
detects = 0.97
decision_gap_ms = 400
latency_ms = 450
spread_ms = 30
spread = "exponential"
false_alarms_per_hour = 1.5
[[simulated.device.rhythm]]
name = "call"
intervals_ms = [[100, 300]]
)";

TEST(ParseSimulation, DiceNeedNoSensor) {
  const Simulation simulation = parse(dice_text);
  EXPECT_FALSE(simulation.sensor);
  const auto& dice = std::get<DiceSettings>(simulation.devices.at(0));
  EXPECT_EQ(dice.detects, 0.97);
  EXPECT_EQ(dice.spread, 30ms);
  EXPECT_EQ(dice.spread_kind, DiceSettings::Spread::exponential);
  EXPECT_EQ(dice.false_alarms_per_hour, 1.5);
}

TEST(ParseSimulation, TakesWhatIsNotSaidFromTheCalibrationAndTheUsualPlunger) {
  const TapperSettings tapper = parse(dice_text).tapper;
  EXPECT_EQ(tapper.transit_sd, 150us);
  EXPECT_EQ(tapper.solenoid.stroke_m, physics::Solenoid{}.stroke_m);
  EXPECT_EQ(tapper.solenoid.gap_inductance_h_m, physics::Solenoid{}.gap_inductance_h_m);
}

TEST(ParseSimulation, KnowsTwoDetectorsTwoLinksAndOutages) {
  std::string text =
      oak_with("window = 1024\nk_sigma = 5.0", "detector = \"envelope\"\nsmooth_ms = 3");
  text.replace(text.find("influence = 0.0"), 15, "k_noise = 6\n#");
  text.replace(text.find("baud = 9600"), 11, "radio_ms = 40\nbeacon_ms = 102.4");
  text.replace(text.find("poll_ms = 16"), 12, "hangs_per_hour = 0.1\nhang_ms = 60000");
  const Simulation simulation = parse(text);
  const auto& firmware = std::get<FirmwareSettings>(simulation.devices.at(0));
  EXPECT_EQ(std::get<EnvelopeSettings>(firmware.detector).smooth, 3ms);
  EXPECT_EQ(std::get<RadioLink>(firmware.link).beacon, 102400us);
  EXPECT_EQ(firmware.outages.hang, 60s);
  EXPECT_EQ(firmware.outages.resets_per_hour, 0.0);
}

TEST(ParseSimulation, NamesWhatIsWrongAndWhere) {
  EXPECT_THAT(error_of("[rig]\n"), HasSubstr("simulated"));
  EXPECT_THAT(error_of(oak_with("lockout_ms", "lokout_ms")), HasSubstr("lockout_ms"));
  EXPECT_THAT(error_of(oak_with("pick_up_mv = 2.0", "pick_up_v = 2.0")),
              HasSubstr("did you mean \"pick_up_mv\"?"));
  EXPECT_THAT(error_of(oak_with("rate_hz = 8000", "rate_hz = 7000")),
              AllOf(HasSubstr("7000"), HasSubstr("whole number of nanoseconds")));
  EXPECT_THAT(error_of(oak_with("[30, 160]", "[160, 30]")), HasSubstr("[shortest, longest]"));
  EXPECT_THAT(error_of(oak_with("ring_hz = 25", "ring_hz = 5000")), HasSubstr("2000"));
  EXPECT_THAT(error_of(oak_with("material = \"oak\"", "material = \"jelly\"")),
              AllOf(HasSubstr("jelly"), HasSubstr("granite")));
  EXPECT_THAT(error_of(oak_with("tip = \"nylon\"", "tip = \"butter\"")), HasSubstr("hard rubber"));
  EXPECT_THAT(error_of(oak_with("sensor_mm = [460, 370]", "sensor_mm = [460, 700]")),
              HasSubstr("1200 mm by 600 mm"));
  EXPECT_THAT(error_of(oak_with("sensor_mm = [460, 370]", "sensor_mm = [460]")),
              HasSubstr("[along, across]"));
  EXPECT_THAT(error_of(oak_with("\"firmware\"", "\"magic\"")), HasSubstr("firmware, dice"));
  EXPECT_THAT(error_of(oak_with("[[130, 290]]", "[[290, 130]]")), HasSubstr("low <= high"));
  EXPECT_THAT(error_of(oak_with("noise_mv = 1.6", "noise_mv = nan")), HasSubstr("noise_mv"));
}

TEST(ParseSimulation, ReadsTheDriftInItsOwnUnit) {
  const auto text = oak_with("strike_cv = 0.02", "transit_drift_ms_per_hour = 2");
  EXPECT_EQ(parse(text).tapper.transit_drift_per_hour, 2ms);
}

TEST(ParseSimulation, RefusesACalibrationThatTheSolenoidDoesNotKeep) {
  rig::RigFile rig = workshop_rig();
  rig.calibration->curves.front().points[2].strike.um_s *= 2;
  EXPECT_THAT(error_of(read_source_file(oak), rig),
              AllOf(HasSubstr("1.376 m/s"), HasSubstr("0.688 m/s"), HasSubstr("10.5 ms")));
  rig = workshop_rig();
  for (auto& point : rig.calibration->curves.front().points) point.transit += 20ms;
  EXPECT_THAT(error_of(read_source_file(oak), rig), HasSubstr("after 17.45 ms"));
  rig = workshop_rig();
  rig.calibration->curves.front().conditions.coil_mdegc = 90'000;
  EXPECT_THAT(error_of(read_source_file(oak), rig), HasSubstr("lands"));
}

TEST(ParseSimulation, RefusesPlatesThatNobodyCouldHearOrCompute) {
  EXPECT_THAT(error_of(oak_with("length_mm = 1200\nwidth_mm = 600\nthickness_mm = 38",
                                "length_mm = 50\nwidth_mm = 50\nthickness_mm = 200")),
              HasSubstr("lowest mode"));
  EXPECT_THAT(error_of(oak_with("length_mm = 1200\nwidth_mm = 600\nthickness_mm = 38",
                                "length_mm = 10000\nwidth_mm = 10000\nthickness_mm = 0.5")),
              HasSubstr("modes below 5000 Hz"));
}

TEST(ParseSimulation, NeedsOneSimulatedDeviceForEachDevice) {
  rig::RigFile rig = workshop_rig();
  rig.devices.push_back({.name = "shelf", .version = "1"});
  EXPECT_THAT(error_of(dice_text, rig), HasSubstr("each of the rig's 2 devices"));
}

TEST(ParseSimulation, NeedsACalibration) {
  rig::RigFile rig = workshop_rig();
  rig.calibration.reset();
  EXPECT_THAT(error_of(dice_text, rig), HasSubstr("[calibration]"));
}

TEST(ParseSimulation, RefusesAReportBeforeTheRhythmHasEnded) {
  std::string text = dice_text;
  text.replace(text.find("latency_ms = 450"), 16, "latency_ms = 399");
  EXPECT_THAT(error_of(text), HasSubstr("at least decision_gap_ms"));
}

TEST(ParseSimulation, RefusesAChannelThatTheConverterCannotGive) {
  rig::RigFile rig = workshop_rig();
  rig.channels = {{.name = "converter", .device = 0, .rate_hz = 8000, .highest = 4095}};
  EXPECT_EQ(error_of(read_source_file(oak), rig), "no error");
  rig.channels[0].rate_hz = 4000;
  EXPECT_THAT(error_of(read_source_file(oak), rig), HasSubstr("8000 Hz from 0 to 4095"));
  rig.channels[0].device.reset();
  EXPECT_THAT(error_of(read_source_file(oak), rig), HasSubstr("whose converter it is"));
  rig.channels[0].device = 0;
  EXPECT_THAT(error_of(dice_text, rig), HasSubstr("whose converter it is"));
}

}  // namespace
}  // namespace plexor::virtual_rig
