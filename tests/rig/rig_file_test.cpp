#include "rig/rig_file.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "rig/rig_texts.hpp"

namespace plexor::rig {
namespace {

using namespace std::chrono_literals;
using ::testing::AllOf;
using ::testing::HasSubstr;
using ::testing::StartsWith;

TEST(RigFile, ReadsARigInItsOwnUnits) {
  const RigFile rig = parse_rig(oak_text(), "rig.toml");
  EXPECT_EQ(rig.name, "simulated oak counter");
  EXPECT_EQ(rig.kind, RigKind::simulated);
  EXPECT_THAT(rig.setting.surface, StartsWith("oak counter"));
  EXPECT_EQ(rig.contact.kind, ContactKind::tip_switch);
  EXPECT_EQ(rig.limits.max_pulse, 30ms);
  EXPECT_EQ(rig.limits.duty_span, 300s);
  EXPECT_DOUBLE_EQ(rig.limits.max_energy_j, 0.05);
  EXPECT_DOUBLE_EQ(rig.limits.moving_mass_kg, 0.02);
  EXPECT_DOUBLE_EQ(rig.limits.tip_diameter_m, 0.01);
  EXPECT_DOUBLE_EQ(rig.limits.max_tip_pressure_pa, 5e5);
  EXPECT_EQ(rig.coil.resistance_20c_ohm, 15.0);
  ASSERT_GE(rig.devices.size(), 1U);
  EXPECT_EQ(rig.devices[0].name, "panel");
}

TEST(RigFile, ReadsTheCalibrationInWholeUnits) {
  const RigFile rig = parse_rig(oak_text(), "rig.toml");
  ASSERT_TRUE(rig.calibration);
  EXPECT_EQ(rig.calibration->date, "2026-05-18");
  EXPECT_EQ(rig.calibration->transit_sd, 150us);
  EXPECT_EQ(rig.calibration->slowest(), base::StrikeSpeed{200'000});
  EXPECT_EQ(rig.calibration->curves[0].points[2].transit, 17500us);
}

TEST(RigFile, ShipsARigWhoseOwnCalibrationFitsItsLimits) {
  const RigFile rig = parse_rig(text_of("rig/simulated-oak.toml"), "simulated-oak.toml");
  ASSERT_TRUE(rig.calibration);
  EXPECT_FALSE(safety::check_strike(rig.limits, rig.calibration->fastest()));
  EXPECT_LE(rig.calibration->curves[0].points.back().on_time, rig.limits.max_pulse);
}

TEST(RigFile, ShipsBoardsToStartFrom) {
  const RigFile serial = parse_rig(text_of("rig/board-serial.toml"), "board-serial.toml");
  const RigFile line = parse_rig(text_of("rig/board-line.toml"), "board-line.toml");
  for (const RigFile& rig : {serial, line}) {
    EXPECT_EQ(rig.kind, RigKind::lines);
    EXPECT_FALSE(rig.calibration) << "nobody has measured it yet";
    EXPECT_TRUE(rig.speed_gate && rig.contact.kind == ContactKind::tip_switch)
        << "what calibrating needs";
    EXPECT_FALSE(safety::check_limits(rig.limits));
  }
  EXPECT_TRUE(std::holds_alternative<SerialSettings>(serial.devices.at(0).listeners.at(0).way));
  EXPECT_TRUE(std::holds_alternative<LineSettings>(line.devices.at(0).listeners.at(0).way));
}

TEST(RigFile, MayLackACalibration) {
  std::string text = oak_text();
  const auto from = text.find("[calibration]");
  text.erase(from, text.find("[[device]]") - from);
  EXPECT_FALSE(parse_rig(text, "rig.toml").calibration);
}

TEST(RigFile, LeavesTheSimulatedTableAlone) {
  EXPECT_EQ(message_of(oak_text() + "\n[simulated.anything]\nat_all = [1, {}]\n"), "no error");
}

TEST(RigFile, GivesDeviceTimesThatAreNotKnownAsZero) {
  const RigFile rig =
      parse_rig(oak_text() + "\n[[device]]\nname = \"door\"\nversion = \"2\"\n", "rig.toml");
  EXPECT_EQ(rig.devices.back().line_time, 0ms);
  EXPECT_EQ(rig.devices.back().pattern_end_gap, 0ms);
}

TEST(RigFile, KnowsWhereADeviceStandsIfItIsTold) {
  const auto position_of = [](const std::string& key) {
    return parse_rig(oak_text() + "\n[[device]]\nname = \"door\"\nversion = \"2\"\n" + key,
                     "rig.toml")
        .devices.back()
        .position;
  };
  EXPECT_EQ(position_of(""), "");
  EXPECT_EQ(position_of("position = \"left edge\"\n"), "left edge");
  EXPECT_NE(
      message_of(oak_text() + "\n[[device]]\nname = \"door\"\nversion = \"2\"\nposition = 3\n"),
      "no error");
}

TEST(RigFile, RefusesANewerFormatBeforeAnythingElse) {
  EXPECT_THAT(message_of("format = 2\nsomething = \"new\"\n"),
              AllOf(StartsWith("rig.toml:1:"), HasSubstr("format 2"), HasSubstr("newer")));
}

TEST(RigFile, PutsAValueAboveACeilingToItsLimitsNamingBoth) {
  const std::string text = oak_with("duty_percent = 25", "duty_percent = 45");
  EXPECT_THAT(
      message_of(text),
      AllOf(StartsWith("rig.toml:" + std::to_string(line_of(text, "[tapper.limits]")) + ":"),
            HasSubstr("tapper.limits"), HasSubstr("duty is 45 %"),
            HasSubstr("ceiling of this build is 40 %")));
}

TEST(RigFile, RefusesATipThatPinches) {
  EXPECT_THAT(changed("tip_diameter_mm = 10", "tip_diameter_mm = 3"),
              AllOf(HasSubstr("tip pressure"), HasSubstr("8.6 mm would fit")));
}

TEST(RigFile, NamesTheNearestKeyForOneItDoesNotKnow) {
  for (const auto& [known, unknown] : {std::pair{"surface =", "surfase ="},
                                       {"supply_v =", "suply_v ="},
                                       {"min_rest_ms =", "min_rest_s ="},
                                       {"tip_diameter_mm =", "tip_diam_mm ="},
                                       {"strike_m_s =", "strike_ms ="},
                                       {"line_time_ms =", "linetime_ms ="}}) {
    EXPECT_THAT(changed(known, unknown), StartsWith("rig.toml:")) << unknown;
  }
  EXPECT_THAT(changed("line_time_ms =", "linetime_ms ="),
              HasSubstr("did you mean \"line_time_ms\"?"));
  EXPECT_THAT(message_of(oak_text() + "\n[settings]\n"), HasSubstr("did you mean \"setting\"?"));
}

TEST(RigFile, NamesLineAndKeyOfEveryNumberThatCannotBeMeant) {
  for (const std::string key : {"moving_mass_g",
                                "tip_diameter_mm",
                                "seated_force_n",
                                "supply_v",
                                "resistance_ohm",
                                "winding_j_k",
                                "body_j_k",
                                "winding_to_body_k_w",
                                "body_to_air_k_w",
                                "ambient_c",
                                "max_pulse_ms",
                                "min_rest_ms",
                                "duty_percent",
                                "duty_span_s",
                                "max_on_in_span_s",
                                "max_coil_c",
                                "coil_margin_k",
                                "max_energy_mj",
                                "max_tip_pressure_n_cm2",
                                "coil_c",
                                "transit_sd_ms",
                                "line_time_ms",
                                "pattern_end_gap_ms"}) {
    for (const std::string bad :
         {"nan", "inf", "-inf", "1e300", "-1000", "9223372036854775807", "\"12\"", "[12]", "{}"}) {
      const std::string text = oak_with("\n" + key + " = ", "\n" + key + " = " + bad + " #");
      EXPECT_THAT(message_of(text),
                  AllOf(StartsWith("rig.toml:" + std::to_string(line_of(text, key + " = " + bad))),
                        HasSubstr(key)))
          << key << " = " << bad;
    }
  }
}

TEST(RigFile, NamesLineAndKeyOfEveryPointThatCannotBeMeant) {
  for (const std::string point : {"on_ms = 6", "strike_m_s = 0.20", "transit_ms = 27"}) {
    const std::string key = point.substr(0, point.find(' '));
    for (const std::string bad : {"nan", "inf", "1e300", "-1000", "\"12\"", "[12]"}) {
      const std::string text = oak_with(point, key + " = " + bad);
      EXPECT_THAT(message_of(text),
                  AllOf(StartsWith("rig.toml:" + std::to_string(line_of(text, key + " = " + bad))),
                        HasSubstr(key)))
          << key << " = " << bad;
    }
  }
}

TEST(RigFile, NamesWhatIsMissing) {
  for (const std::string table : {"rig", "setting", "contact"}) {
    EXPECT_THAT(changed("\n[" + table + "]\n", "\n[simulated." + table + "]\n"),
                HasSubstr("found no value in \"" + table + "\""));
  }
  EXPECT_THAT(message_of("format = 1\n"), HasSubstr("\"rig\""));
  EXPECT_THAT(message_of(""), HasSubstr("\"rig\""));
  EXPECT_THAT(changed("[[device]]", "[[simulated.device]]"), HasSubstr("1 to 16 tables"));
}

TEST(RigFile, RefusesTextsThatPeopleCouldNotRead) {
  const std::string long_name(61, 'x');
  for (const std::string& bad :
       {std::string("\"\""), std::string("\"  \""), std::string("\"a\\nb\""),
        std::string("\"a\\u0007\""), std::string("\"\\u0085\""), "\"" + long_name + "\""}) {
    EXPECT_THAT(changed("\"panel\"", bad), HasSubstr("printable characters")) << bad;
    EXPECT_THAT(changed("\"1.4.0\"", bad), HasSubstr("printable characters")) << bad;
    EXPECT_THAT(changed("\"simulated oak counter\"", bad), HasSubstr("printable")) << bad;
  }
}

TEST(RigFile, CountsCharactersRatherThanBytes) {
  std::string name;
  for (int i = 0; i < 60; ++i) name += "\xC3\xA9";
  EXPECT_EQ(changed("\"panel\"", "\"" + name + "\""), "no error");
}

TEST(RigFile, RefusesTwoDevicesOfOneName) {
  const std::string again = oak_text() + "\n[[device]]\nname = \"panel\"\nversion = \"2\"\n";
  EXPECT_THAT(message_of(again), HasSubstr("a second device \"panel\""));
}

TEST(RigFile, RefusesMoreDevicesThanARunCanTell) {
  std::string text = oak_text();
  for (int i = 0; i < 16; ++i) {
    text += "\n[[device]]\nname = \"unit " + std::to_string(i) + "\"\nversion = \"1\"\n";
  }
  EXPECT_THAT(message_of(text), HasSubstr("17 devices"));
}

TEST(RigFile, RefusesADayThatNoCalendarHas) {
  for (const std::string bad : {"2026-02-29", "2026-13-01", "2026-00-10", "26-05-18", "2026-5-18",
                                "2026-05-18T10:00", "18.05.2026", "", "2026-05-+8", "0000-01-01"}) {
    EXPECT_THAT(changed("\"2026-05-18\"", "\"" + bad + "\""), HasSubstr("YYYY-MM-DD")) << bad;
  }
  EXPECT_EQ(changed("\"2026-05-18\"", "\"2024-02-29\""), "no error");
}

TEST(RigFile, RefusesCalibrationPointsThatDoNotRise) {
  EXPECT_THAT(changed("on_ms = 8,", "on_ms = 6,"), HasSubstr("no longer than"));
  EXPECT_THAT(changed("strike_m_s = 0.45", "strike_m_s = 0.20"), HasSubstr("no faster than"));
  EXPECT_THAT(changed("strike_m_s = 0.45", "strike_m_s = 0.2000004"), HasSubstr("no faster than"));
}

TEST(RigFile, RefusesACalibrationWithoutTwoPoints) {
  std::string text = oak_text();
  const auto from = text.find("points = [") + 10;
  text.erase(from, text.find("\n]", from) - from);
  EXPECT_THAT(message_of(text), HasSubstr("0 points"));
}

std::string another_curve(const std::string& conditions, const std::string& strikes = "") {
  const std::string points = strikes.empty() ? "strike_m_s = 0.3, transit_ms = 20 }, "
                                               "{ on_ms = 12, strike_m_s = 1.1, transit_ms = 15 }"
                                             : strikes;
  return "[[calibration.curve]]\n" + conditions + "\npoints = [ { on_ms = 8, " + points + " ]\n";
}

std::string oak_with_curve(const std::string& curve) {
  std::string text = oak_text();
  return text.insert(text.find("[[device]]"), curve);
}

TEST(RigFile, ReadsCurvesByRisingSupplyAndTemperature) {
  const RigFile rig = parse_rig(oak_with_curve(another_curve("coil_c = 70\nsupply_v = 12") +
                                               another_curve("coil_c = 25\nsupply_v = 11.5")),
                                "rig.toml");
  const auto& curves = rig.calibration->curves;
  ASSERT_EQ(curves.size(), 3U);
  EXPECT_EQ(curves[0].conditions.supply_mv, 11'500);
  EXPECT_EQ(curves[1].conditions.coil_mdegc, 25'000);
  EXPECT_EQ(curves[2].conditions.coil_mdegc, 70'000);
}

TEST(RigFile, RefusesCurvesThatCannotBeUsedTogether) {
  EXPECT_THAT(message_of(oak_with_curve(another_curve("coil_c = 25\nsupply_v = 12"))),
              HasSubstr("two curves of the same coil_c and supply_v"));
  EXPECT_THAT(
      message_of(oak_with_curve(another_curve(
          "coil_c = 60\nsupply_v = 12",
          "strike_m_s = 3, transit_ms = 20 }, { on_ms = 9, strike_m_s = 4, transit_ms = 9 }"))),
      HasSubstr("without a strike speed that all of them reach"));
}

TEST(RigFile, ReadsACalibrationFromAFileOfItsOwn) {
  std::string text = oak_text();
  const auto from = text.find("[calibration]");
  const std::string calibration = text.substr(from, text.find("[[device]]") - from);
  text.replace(from, calibration.size(), "[calibration]\nfile = \"oak-calibration.toml\"\n");
  EXPECT_THAT(message_of(text), HasSubstr("calibration file"));
  const auto find = [&](const std::string& name) {
    EXPECT_EQ(name, "oak-calibration.toml");
    return CalibrationText{"elsewhere/" + name, "format = 1\n" + calibration};
  };
  EXPECT_EQ(parse_rig(text, "rig.toml", find).calibration->date, "2026-05-18");
  const auto spoilt = [&](const std::string&) {
    return CalibrationText{"elsewhere.toml", calibration + "\n[more]\n"};
  };
  try {
    (void)parse_rig(text, "rig.toml", spoilt);
    FAIL() << "an unknown table was read";
  } catch (const base::InputError& error) {
    EXPECT_THAT(error.what(), AllOf(HasSubstr("elsewhere.toml"), HasSubstr("more")));
  }
}

TEST(RigFile, ReadsHowContactIsSensed) {
  const RigFile rig = parse_rig(
      oak_with("kind = \"tip-switch\"", "kind = \"pickup\"\nlag_ms = 0.5\ndebounce_ms = 8"),
      "rig.toml");
  EXPECT_TRUE(rig.contact.only_confirms());
  EXPECT_EQ(rig.contact.lag, std::chrono::microseconds{500});
  EXPECT_EQ(rig.contact.debounce, std::chrono::milliseconds{8});
  EXPECT_THAT(changed("kind = \"tip-switch\"", "kind = \"none\"\nlag_ms = 1"), HasSubstr("lag_ms"));
}

TEST(RigFile, RefusesACalibrationMadeAtAnotherSupply) {
  std::string text = oak_text();
  const auto at = text.find("supply_v = 12", text.find("[calibration]"));
  const auto measured_at = [&](const std::string& supply_v) {
    return message_of(std::string(text).replace(at + 11, 2, supply_v));
  };
  EXPECT_THAT(measured_at("9"), AllOf(HasSubstr("9 V"), HasSubstr("12 V")));
  EXPECT_THAT(measured_at("12.7"), HasSubstr("within 5 %"));
  EXPECT_EQ(measured_at("12.5"), "no error");
}

TEST(RigFile, RefusesAContactKindThatIsUnknownAndListsTheKnown) {
  EXPECT_THAT(changed("\"tip-switch\"", "\"load-cell\""), HasSubstr("none, tip-switch"));
  EXPECT_EQ(to_text(ContactKind::none), "none");
  EXPECT_EQ(to_text(ContactKind::tip_switch), "tip-switch");
}

TEST(RigFile, GivesOneMessageWithItsPlaceWhenCutAnywhere) {
  const std::string whole = oak_text();
  const std::size_t last_key = whole.find("version");
  for (std::size_t length = 0; length < last_key; ++length) {
    EXPECT_THAT(message_of(whole.substr(0, length)), StartsWith("rig.toml:")) << length;
  }
}

constexpr const char* channel_text = R"(
[[channel]]
name = "converter"
device = "panel"
rate_hz = 8000
lowest = 0
highest = 4095
)";

TEST(RigFile, ReadsChannelsAndWhereASensorIs) {
  const RigFile rig =
      parse_rig(oak_with("[[device]]\n", "[[device]]\nat_mm = [390, 170.5]\n") + channel_text +
                    "[[channel]]\nname = \"accelerometer\"\nrate_hz = 2000\nlowest = -512\n"
                    "highest = 511\nunit = \"mg\"\n",
                "rig.toml");
  EXPECT_EQ(rig.devices[0].at, (base::SurfacePoint{390'000, 170'500}));
  ASSERT_THAT(rig.channels, ::testing::SizeIs(2));
  EXPECT_EQ(rig.channels[0].device, 0U);
  EXPECT_EQ(rig.channels[0].period(), std::chrono::microseconds{125});
  EXPECT_EQ(rig.channels[0].unit, "LSB");
  EXPECT_EQ(rig.channels[1].device, std::nullopt);
  EXPECT_EQ(rig.channels[1].lowest, -512);
  EXPECT_EQ(rig.channels[1].unit, "mg");
}

TEST(RigFile, RefusesChannelsThatCannotBe) {
  const auto with = [](const std::string& passage, const std::string& instead) {
    std::string text = channel_text;
    return message_of(oak_text() + text.replace(text.find(passage), passage.size(), instead));
  };
  EXPECT_THAT(with("\"panel\"", "\"shelf\""), HasSubstr("unknown device \"shelf\""));
  EXPECT_THAT(with("rate_hz = 8000", "rate_hz = 7000"), HasSubstr("whole number of nanoseconds"));
  EXPECT_THAT(with("highest = 4095", "highest = 0"), HasSubstr("the lower one first"));
  EXPECT_THAT(message_of(oak_text() + channel_text + channel_text),
              HasSubstr("a second channel \"converter\""));
  EXPECT_THAT(changed("[[device]]\n", "[[device]]\nat_mm = [390]\n"), HasSubstr("[x, y]"));
  EXPECT_THAT(with("lowest", "port = \"/dev/ttyUSB1\"\nlowest"), HasSubstr("port")) << "virtual";
  EXPECT_THAT(with("lowest", "line = \"value\"\nlowest"), HasSubstr("line"));
}

}  // namespace
}  // namespace plexor::rig
