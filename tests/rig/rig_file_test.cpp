#include "rig/rig_file.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <fstream>
#include <sstream>
#include <stdexcept>

#include "base/error.hpp"

namespace plexor::rig {
namespace {

using namespace std::chrono_literals;
using ::testing::AllOf;
using ::testing::HasSubstr;
using ::testing::StartsWith;

std::string text_of(const std::string& path) {
  std::ifstream in(std::string(PLEXOR_SOURCE_DIR) + "/" + path);
  std::ostringstream text;
  text << in.rdbuf();
  return text.str();
}

/// A rig file that changes with the format only, unlike the one that is shipped.
std::string oak_text() { return text_of("tests/fuzz/seeds/rig_fuzz/oak.toml"); }

/// The rig above with one passage changed. The passage must be there.
std::string oak_with(const std::string& passage, const std::string& instead) {
  std::string text = oak_text();
  const auto at = text.find(passage);
  if (at == std::string::npos) throw std::logic_error("no passage: " + passage);
  return text.replace(at, passage.size(), instead);
}

std::string message_of(const std::string& text) {
  try {
    (void)parse_rig(text, "rig.toml");
  } catch (const base::InputError& error) {
    return error.what();
  }
  return "no error";
}

unsigned line_of(const std::string& text, const std::string& passage) {
  const auto end = text.begin() + static_cast<std::ptrdiff_t>(text.find(passage));
  return static_cast<unsigned>(std::count(text.begin(), end, '\n')) + 1;
}

std::string changed(const std::string& passage, const std::string& instead) {
  return message_of(oak_with(passage, instead));
}

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
  EXPECT_TRUE(std::holds_alternative<SerialSettings>(*serial.devices.at(0).listener));
  EXPECT_TRUE(std::holds_alternative<LineSettings>(*line.devices.at(0).listener));
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

/// The rig above with lines and ports.
std::string live_text() {
  std::string text = oak_with("kind = \"simulated\"", "kind = \"lines\"");
  for (auto at = text.find("[[device]]\n"); at != std::string::npos;
       at = text.find("[[device]]\n", at + 1)) {
    const auto end = text.find("pattern_end_gap_ms = 450\n", at) + 25;
    text.insert(end, "[[device.listener]]\nkind = \"serial\"\nport = \"/dev/ttyUSB0\"\n");
  }
  return text + R"(
[lines]
chip = "/dev/gpiochip0"
gate = { line = 5, active_low = true }
contact = 6
stop_loop = 0
lid = 1
coil_sense = 2
enable = { line = 3 }
watchdog = 4
[warden]
longest_pulse_ms = 40
heartbeat_age_ms = 50
[outside]
longest_on_ms = 60
one_shot_ms = 100
)";
}

std::string live_changed(const std::string& passage, const std::string& instead) {
  std::string text = live_text();
  const auto at = text.rfind(passage);
  if (at == std::string::npos) throw std::logic_error("no passage: " + passage);
  return message_of(text.replace(at, passage.size(), instead));
}

TEST(RigFileOfLines, ReadsItsLinesTiersAndPorts) {
  const RigFile rig = parse_rig(live_text(), "rig.toml");
  EXPECT_EQ(rig.kind, RigKind::lines);
  ASSERT_TRUE(rig.wiring);
  EXPECT_EQ(rig.wiring->chip, "/dev/gpiochip0");
  EXPECT_EQ(rig.wiring->gate.offset, 5U);
  EXPECT_TRUE(rig.wiring->gate.active_low);
  EXPECT_EQ(rig.wiring->enable.offset, 3U);
  EXPECT_FALSE(rig.wiring->enable.active_low);
  ASSERT_TRUE(rig.wiring->contact);
  EXPECT_EQ(rig.wiring->contact->offset, 6U);
  EXPECT_EQ(rig.tiers.heartbeat_age, 50ms);
  EXPECT_EQ(rig.tiers.longest_pulse, 40ms);
  EXPECT_EQ(rig.tiers.longest_on, 60ms);
  EXPECT_EQ(rig.tiers.one_shot, 100ms);
  EXPECT_EQ(std::get<SerialSettings>(rig.devices[0].listener.value()).port, "/dev/ttyUSB0");
}

TEST(RigFileOfLines, RefusesALineThatTwoShare) {
  EXPECT_THAT(live_changed("lid = 1\n", "lid = 5\n"),
              AllOf(HasSubstr("line 5"), HasSubstr("\"gate\" has already")));
  EXPECT_THAT(live_changed("contact = 6\n", "contact = 4\n"), HasSubstr("line 4"));
  for (const std::string key : {"stop_loop = 0", "coil_sense = 2", "watchdog = 4"}) {
    EXPECT_THAT(live_changed(key, key.substr(0, key.size() - 1) + "1"), HasSubstr("line 1")) << key;
  }
}

TEST(RigFileOfLines, NamesWhatIsMissing) {
  for (const std::string key : {"chip", "contact", "stop_loop", "lid", "coil_sense", "watchdog"}) {
    const std::string text = live_text();
    const auto from = text.rfind("\n" + key + " = ") + 1;
    std::string without = text;
    without.erase(from, text.find('\n', from) - from + 1);
    EXPECT_THAT(message_of(without), HasSubstr(key));
  }
  EXPECT_THAT(live_changed("[lines]", "[wires]"), HasSubstr("lines"));
  EXPECT_THAT(live_changed("longest_pulse_ms = 40\n", ""), HasSubstr("longest_pulse_ms"));
  EXPECT_THAT(live_changed("heartbeat_age_ms = 50\n", ""), HasSubstr("heartbeat_age_ms"));
  EXPECT_THAT(live_changed("longest_on_ms = 60\n", ""), HasSubstr("longest_on_ms"));
  EXPECT_THAT(live_changed("one_shot_ms = 100\n", ""), HasSubstr("one_shot_ms"));
  EXPECT_THAT(live_changed("port = \"/dev/ttyUSB0\"\n", ""), HasSubstr("listener 1.port"));
}

TEST(RigFileOfLines, HasAContactLineOnlyWhereSomethingSensesContact) {
  EXPECT_THAT(live_changed("kind = \"tip-switch\"", "kind = \"none\""), HasSubstr("contact"));
}

TEST(RigFileOfLines, RefusesLinesThatNoChipHas) {
  EXPECT_NE(live_changed("lid = 1\n", "lid = -1\n"), "no error");
  EXPECT_NE(live_changed("lid = 1\n", "lid = 4096\n"), "no error");
  EXPECT_NE(live_changed("lid = 1\n", "lid = { line = 1, active_lwo = true }\n"), "no error");
  EXPECT_NE(live_changed("lid = 1\n", "lid = { active_low = true }\n"), "no error");
  EXPECT_EQ(live_changed("lid = 1\n", "lid = { line = 1, active_low = true }\n"), "no error");
}

TEST(RigFileOfLines, RefusesTiersOutOfOrder) {  // [S71]
  EXPECT_THAT(live_changed("longest_pulse_ms = 40", "longest_pulse_ms = 30"),
              HasSubstr("the plan's longest pulse is 30 ms"));
  EXPECT_THAT(live_changed("longest_on_ms = 60", "longest_on_ms = 40"),
              HasSubstr("the longest on-time outside"));
  EXPECT_THAT(live_changed("one_shot_ms = 100", "one_shot_ms = 600"), HasSubstr("ceiling"));
}

TEST(RigFileOfLines, RefusesLinesInARigOfVirtualTime) {
  EXPECT_THAT(message_of(oak_text() + "\n[lines]\nchip = \"/dev/gpiochip0\"\n"),
              HasSubstr("lines"));
}

/// The serial listener of the rig above, or all of it, replaced by other keys.
std::string listener_changed(const std::string& keys) {
  return live_changed("kind = \"serial\"\nport = \"/dev/ttyUSB0\"\n", keys);
}
ListenerSettings listener_of(const std::string& keys) {
  std::string text = live_text();
  const std::string passage = "kind = \"serial\"\nport = \"/dev/ttyUSB0\"\n";
  text.replace(text.find(passage), passage.size(), keys);
  return parse_rig(text, "rig.toml").devices.at(0).listener.value();
}

TEST(RigFileOfLines, ASerialListenerHasUsualSettings) {
  const auto serial =
      std::get<SerialSettings>(listener_of("kind = \"serial\"\nport = \"/dev/x\"\n"));
  EXPECT_EQ(serial.baud, 115200);
  EXPECT_EQ(serial.data_bits, 8);
  EXPECT_EQ(serial.stop_bits, 1);
  EXPECT_EQ(serial.parity, Parity::none);
  EXPECT_EQ(serial.flow, FlowControl::none);
  EXPECT_EQ(serial.reset, ResetLine::none);
  EXPECT_EQ(serial.pattern, "");
  EXPECT_FALSE(serial.keep_lines);
}

TEST(RigFileOfLines, ReadsEverySettingOfASerialListener) {
  const auto serial = std::get<SerialSettings>(listener_of(R"(kind = "serial"
usb = "1A86:7523:A50285BI"
baud = 9600
data_bits = 7
parity = "odd"
stop_bits = 2
flow = "xon-xoff"
reset = "rts"
pattern = '^k (?P<event>\w+) (?P<device>\w+) (?P<device_time_ms>\d+) (?P<strength>\d+)$'
keep_lines = true
)"));
  EXPECT_EQ(serial.usb, (UsbIdentity{0x1a86, 0x7523, "A50285BI"}));
  EXPECT_EQ(serial.baud, 9600);
  EXPECT_EQ(serial.data_bits, 7);
  EXPECT_EQ(serial.parity, Parity::odd);
  EXPECT_EQ(serial.stop_bits, 2);
  EXPECT_EQ(serial.flow, FlowControl::xon_xoff);
  EXPECT_EQ(serial.reset, ResetLine::rts);
  EXPECT_THAT(serial.pattern, StartsWith("^k "));
  EXPECT_TRUE(serial.keep_lines);
}

TEST(RigFileOfLines, RefusesAPatternThatCannotBeUsedSayingWhy) {
  const auto with_pattern = [](const std::string& pattern) {
    return listener_changed("kind = \"serial\"\nport = \"/dev/x\"\npattern = '" + pattern + "'\n");
  };
  EXPECT_EQ(with_pattern("(?P<event>.*)"), "no error");
  EXPECT_THAT(with_pattern("(?P<event>.*"),
              AllOf(StartsWith("rig.toml:"), HasSubstr("missing )"), HasSubstr("pattern")));
  EXPECT_THAT(with_pattern("knock"), HasSubstr("no group (?P<event>...)"));
  EXPECT_THAT(with_pattern("(?P<event>.)(?P<evnt>.)"), HasSubstr("unknown group \"evnt\""));
  EXPECT_THAT(with_pattern("(?<event>.*)(?=x)"), HasSubstr("(?P<name>...)"));
  EXPECT_THAT(with_pattern("(?P<event>" + std::string(500, 'x') + ")"), HasSubstr("500 bytes"));
  EXPECT_THAT(with_pattern("(?P<event>((((x{1000}){10}){10}){10}))"), HasSubstr("can't be used"));
}

TEST(RigFileOfLines, RefusesAUsbIdentityThatIsNone) {
  for (const std::string bad : {"1a86", "1a86:75", "1a86:7523:", "1a86-7523", "ttyUSB0",
                                "1a86:752g", "1a867523", "", "12345:6789"}) {
    EXPECT_THAT(listener_changed("kind = \"serial\"\nusb = \"" + bad + "\"\n"), HasSubstr("usb"))
        << bad;
  }
  EXPECT_THAT(listener_changed("kind = \"serial\"\nusb = \"1a86:7523\"\nport = \"/dev/x\"\n"),
              HasSubstr("either"));
}

TEST(RigFileOfLines, ADeviceHasOneListener) {
  EXPECT_THAT(live_changed("[[device.listener]]\nkind = \"serial\"\nport = \"/dev/ttyUSB0\"\n", ""),
              HasSubstr("0 listeners"));
  EXPECT_THAT(listener_changed("kind = \"serial\"\nport = \"/dev/x\"\n[[device.listener]]\n"
                               "kind = \"serial\"\nport = \"/dev/y\"\n"),
              HasSubstr("2 listeners"));
  EXPECT_THAT(listener_changed("kind = \"cereal\"\nport = \"/dev/x\"\n"),
              HasSubstr("serial, line"));
  EXPECT_THAT(listener_changed("kind = \"serial\"\nport = \"/dev/x\"\nbuad = 9600\n"),
              HasSubstr("did you mean \"baud\"?"));
}

TEST(RigFileOfLines, ReadsAListenerOnALine) {
  const auto line = std::get<LineSettings>(listener_of(R"(kind = "line"
line = 17
active_low = true
report = "pulses"
debounce_ms = 5
pulse_gap_ms = 120
events = ["call", "kiln"]
)"));
  EXPECT_EQ(line.chip, "/dev/gpiochip0") << "the rig's";
  EXPECT_EQ(line.wire.offset, 17U);
  EXPECT_TRUE(line.wire.active_low);
  EXPECT_EQ(line.report, LineReport::pulses);
  EXPECT_EQ(line.debounce, 5ms);
  EXPECT_EQ(hold_back(line), 120ms);
  EXPECT_EQ(line.events, (std::vector<std::string>{"call", "kiln"}));
  EXPECT_EQ(hold_back(listener_of("kind = \"line\"\nline = 17\nevent = \"call\"\n")), 0ms);
}

TEST(RigFileOfLines, RefusesAListenerOnALineThatSaysTooLittle) {
  EXPECT_THAT(listener_changed("kind = \"line\"\nline = 17\n"), HasSubstr("event"));
  EXPECT_THAT(listener_changed("kind = \"line\"\nline = 5\nevent = \"call\"\n"),
              AllOf(HasSubstr("line 5"), HasSubstr("\"gate\" has already")));
  EXPECT_THAT(listener_changed("kind = \"line\"\nline = 17\nreport = \"pulses\"\n"
                               "events = [\"call\"]\n"),
              HasSubstr("pulse_gap_ms"));
  EXPECT_THAT(listener_changed("kind = \"line\"\nline = 17\nreport = \"pulses\"\n"
                               "pulse_gap_ms = 100\nevents = [\"call\", 3]\n"),
              HasSubstr("list of texts"));
}

TEST(RigFileOfLines, TwoDevicesHaveTwoPorts) {
  const std::string second =
      "\n[[device]]\nname = \"door\"\nversion = \"1\"\n[[device.listener]]\nkind = \"serial\"\n";
  EXPECT_THAT(message_of(live_text() + second + "port = \"/dev/ttyUSB0\"\n"),
              AllOf(HasSubstr("port /dev/ttyUSB0"), HasSubstr("\"panel\" has already")));
  EXPECT_EQ(message_of(live_text() + second + "port = \"/dev/ttyUSB1\"\n"), "no error");
}

TEST(RigFileOfLines, ReadsHowADeviceIsAskedAndPrepared) {
  const std::string keys = R"(kind = "serial"
port = "/dev/x"
[device.identity]
query = "v\n"
pattern = 'v(?P<version>\d+)'
banner = '^boot'
timeout_ms = 700
alive_every_s = 60
[device.prepare]
command = ["flash-tool", "--firmware", "x.bin"]
timeout_s = 30
)";
  std::string text = live_text();
  const std::string passage = "kind = \"serial\"\nport = \"/dev/ttyUSB0\"\n";
  text.replace(text.find(passage), passage.size(), keys);
  const Device device = parse_rig(text, "rig.toml").devices.at(0);
  ASSERT_TRUE(device.identity && device.prepare);
  EXPECT_EQ(device.identity->query, "v\n");
  EXPECT_EQ(device.identity->timeout, 700ms);
  EXPECT_EQ(device.identity->alive_every, 60s);
  EXPECT_EQ(device.identity->banner, "^boot");
  EXPECT_EQ(device.prepare->command.size(), 3U);
  EXPECT_EQ(device.prepare->timeout, 30s);
}

TEST(RigFileOfLines, RefusesAQuestionThatCannotBeAsked) {
  const std::string serial = "kind = \"serial\"\nport = \"/dev/x\"\n[device.identity]\n";
  EXPECT_THAT(listener_changed(serial + "pattern = '(?P<version>.)'\n"), HasSubstr("query"));
  EXPECT_THAT(listener_changed(serial + "query = \"v\"\npattern = 'v'\n"),
              HasSubstr("(?P<version>...)"));
  EXPECT_THAT(
      listener_changed(serial + "query = \"v\"\npattern = '(?P<version>.)'\nbanner = '('\n"),
      HasSubstr("banner"));
  EXPECT_THAT(listener_changed("kind = \"line\"\nline = 17\nevent = \"call\"\n[device.identity]\n"
                               "query = \"v\"\npattern = '(?P<version>.)'\n"),
              HasSubstr("only a line"));
  EXPECT_THAT(listener_changed("kind = \"serial\"\nport = \"/dev/x\"\n[device.prepare]\n"
                               "command = \"flash-tool x.bin\"\n"),
              HasSubstr("list of texts"));
}

TEST(RigFile, GivesOneMessageWithItsPlaceWhenCutAnywhere) {
  const std::string whole = oak_text();
  const std::size_t last_key = whole.find("version");
  for (std::size_t length = 0; length < last_key; ++length) {
    EXPECT_THAT(message_of(whole.substr(0, length)), StartsWith("rig.toml:")) << length;
  }
}

}  // namespace
}  // namespace plexor::rig
