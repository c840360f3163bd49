#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "rig/rig_texts.hpp"

namespace plexor::rig {
namespace {

using namespace std::chrono_literals;
using ::testing::AllOf;
using ::testing::HasSubstr;
using ::testing::StartsWith;

/// The rig above with lines and ports.
std::string live_text() {
  std::string text = oak_with("kind = \"simulated\"", "kind = \"lines\"");
  for (auto at = text.find("[[device]]\n"); at != std::string::npos;
       at = text.find("[[device]]\n", at + 1)) {
    const auto end = text.find("pattern_end_gap_ms = 450\n", at) + 25;
    text.insert(end, "[[device.listener]]\nkind = \"serial\"\nport = \"/dev/ttyUSB0\"\n");
  }
  return text + live_tables;
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
  EXPECT_EQ(std::get<SerialSettings>(rig.devices[0].listeners.at(0).way).port, "/dev/ttyUSB0");
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
Way listener_of(const std::string& keys) {
  std::string text = live_text();
  const std::string passage = "kind = \"serial\"\nport = \"/dev/ttyUSB0\"\n";
  text.replace(text.find(passage), passage.size(), keys);
  return parse_rig(text, "rig.toml").devices.at(0).listeners.at(0).way;
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
  EXPECT_EQ(serial.format.pattern, "");
  EXPECT_FALSE(serial.format.keep_lines);
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
  EXPECT_THAT(serial.format.pattern, StartsWith("^k "));
  EXPECT_TRUE(serial.format.keep_lines);
}

/// The first device, restarted as these keys say.
std::string with_recovery(const std::string& keys) {
  std::string text = live_text();
  const std::string listener = "kind = \"serial\"\nport = \"/dev/ttyUSB0\"\n";
  return text.insert(text.find(listener) + listener.size(), "[device.recovery]\n" + keys);
}

TEST(RigFileOfLines, KnowsByWhatADeviceIsRestarted) {
  const auto recovery_of = [](const std::string& keys) {
    return parse_rig(with_recovery(keys), "rig.toml").devices.at(0).recovery.value();
  };
  const RecoverySettings usual = recovery_of("power_line = { line = 9, active_low = true }\n");
  EXPECT_EQ(usual.silent_after_misses, 12U);
  EXPECT_EQ(usual.silent_after, 120s);
  ASSERT_TRUE(usual.power && usual.power->line);
  EXPECT_EQ(usual.power->line->offset, 9U);
  EXPECT_TRUE(usual.power->line->active_low);
  EXPECT_EQ(usual.power->off, 3s);
  EXPECT_EQ(usual.power->boot, 5s);
  EXPECT_EQ(usual.power->most_per_hour, 3U);

  const RecoverySettings own = recovery_of(
      "silent_after_misses = 5\nafter_s = 30\npower_line = 9\noff_s = 1.5\nboot_s = 20\n"
      "most_per_hour = 1\n");
  EXPECT_EQ(own.silent_after_misses, 5U);
  EXPECT_EQ(own.silent_after, 30s);
  EXPECT_EQ(own.power->off, 1500ms);
  EXPECT_EQ(own.power->boot, 20s);
  EXPECT_EQ(own.power->most_per_hour, 1U);

  EXPECT_FALSE(recovery_of("silent_after_misses = 5\n").power) << "nothing to restart it by";
  EXPECT_THAT(message_of(with_recovery("off_s = 2\n")), HasSubstr("off_s"));
}

TEST(RigFileOfLines, NoDevicesPowerHangsOnALineThatTheRigUsesOtherwise) {  // [S78]
  for (const auto& [line, owner] : {std::pair{0, "stop_loop"},
                                    {1, "lid"},
                                    {2, "coil_sense"},
                                    {3, "enable"},
                                    {4, "watchdog"},
                                    {5, "gate"},
                                    {6, "contact"}}) {
    EXPECT_THAT(
        message_of(with_recovery("power_line = " + std::to_string(line) + "\n")),
        AllOf(HasSubstr("line " + std::to_string(line)), HasSubstr("for the power of"),
              HasSubstr("\"" + std::string(owner) + "\" has already"), HasSubstr("rig/wiring.md")));
  }
  std::string heard = with_recovery("power_line = 9\n");
  const std::string serial = "kind = \"serial\"\nport = \"/dev/ttyUSB0\"\n";
  heard.replace(heard.find(serial), serial.size(), "kind = \"line\"\nline = 9\nevent = \"call\"\n");
  EXPECT_THAT(message_of(heard), HasSubstr("power of panel"));
  const std::string second =
      "[[device]]\nname = \"door\"\nversion = \"1\"\n[[device.listener]]\nkind = \"serial\"\n"
      "port = \"/dev/ttyUSB1\"\n[device.recovery]\npower_line = ";
  EXPECT_THAT(message_of(with_recovery("power_line = 9\n") + second + "9\n"),
              HasSubstr("\"power of panel\" has already"));
  EXPECT_EQ(message_of(with_recovery("power_line = 9\n") + second + "10\n"), "no error");
}

TEST(RigFileOfLines, RefusesARecoveryThatCannotBeMeant) {
  EXPECT_EQ(message_of(with_recovery("power_line = 9\n")), "no error");
  for (const std::string bad : {"silent_after_misses = 1", "after_s = 2000", "off_s = 0",
                                "boot_s = -1", "most_per_hour = 0", "power = 9"}) {
    EXPECT_THAT(message_of(with_recovery("power_line = 9\n" + bad + "\n")),
                HasSubstr(bad.substr(0, bad.find(' '))))
        << bad;
  }
  EXPECT_THAT(message_of(with_recovery("power_line = 5000\n")), HasSubstr("power_line"));
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

TEST(RigFileOfLines, ADeviceHasListenersEachWithANameOfItsOwn) {
  EXPECT_THAT(live_changed("[[device.listener]]\nkind = \"serial\"\nport = \"/dev/ttyUSB0\"\n", ""),
              HasSubstr("0 listeners"));
  EXPECT_THAT(listener_changed("kind = \"serial\"\nport = \"/dev/x\"\n[[device.listener]]\n"
                               "kind = \"serial\"\nport = \"/dev/y\"\n"),
              HasSubstr("a second listener \"serial\""));
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
              HasSubstr("no serial port"));
  EXPECT_THAT(listener_changed("kind = \"serial\"\nport = \"/dev/x\"\n[device.prepare]\n"
                               "command = \"flash-tool x.bin\"\n"),
              HasSubstr("list of texts"));
}

constexpr const char* streaming_channel = R"(
[[channel]]
name = "converter"
device = "panel"
rate_hz = 8000
lowest = 0
highest = 4095
port = "/dev/ttyUSB1"
baud = 921600
line = "time_ms,value"
)";

TEST(RigFileOfLines, ReadsWhereAChannelsSamplesComeFrom) {
  const std::string more =
      "[[channel]]\nname = \"accelerometer\"\nrate_hz = 1000\nlowest = -512\nhighest = 511\n"
      "file = \"/run/accelerometer\"\nline = \"value\"\n";
  const RigFile rig = parse_rig(live_text() + streaming_channel + more, "rig.toml");
  const auto& port = std::get<SerialSettings>(rig.channels.at(0).source.way);
  EXPECT_EQ(port.port, "/dev/ttyUSB1");
  EXPECT_EQ(port.baud, 921'600);
  EXPECT_EQ(rig.channels[0].source.line, SampleLine::time_and_value);
  EXPECT_EQ(place_of(rig.channels[0].source), "port /dev/ttyUSB1");
  EXPECT_EQ(std::get<SampleFile>(rig.channels.at(1).source.way).path, "/run/accelerometer");
  EXPECT_EQ(rig.channels[1].source.line, SampleLine::value);
}

TEST(RigFileOfLines, RefusesSourcesOfSamplesThatCannotBe) {
  const auto with = [](const std::string& passage, const std::string& instead) {
    std::string text = streaming_channel;
    return message_of(live_text() + text.replace(text.find(passage), passage.size(), instead));
  };
  EXPECT_EQ(with("port", "port"), "no error");
  EXPECT_THAT(with("port = \"/dev/ttyUSB1\"\nbaud = 921600\n", ""), HasSubstr("nowhere"));
  EXPECT_THAT(with("line = \"time_ms,value\"", ""), HasSubstr("channel 1.line"));
  EXPECT_THAT(with("time_ms,value", "value,time"), HasSubstr("value,time"));
  EXPECT_THAT(with("baud", "file = \"/run/samples\"\nbaud"), HasSubstr("a second place"));
  EXPECT_THAT(with("baud", "usb = \"1a86:7523\"\nbaud"), HasSubstr("a second way"));
  EXPECT_THAT(with("921600", "115200"), HasSubstr("at least 320000"));
  EXPECT_THAT(with("ttyUSB1", "ttyUSB0"),
              AllOf(HasSubstr("\"converter\""), HasSubstr("\"panel\" has already")));
  std::string second = streaming_channel;
  second.replace(second.find("converter"), 9, "other");
  EXPECT_THAT(message_of(live_text() + streaming_channel + second),
              HasSubstr("\"converter\" has already"));
}

TEST(RigFileOfLines, ReadsTheLinesThatTellOfDisturbances) {
  const RigFile rig = parse_rig(
      live_text() +
          "[[disturbance]]\nname = \"kiln door\"\nline = { line = 7, active_low = true }\n"
          "[[disturbance]]\nname = \"wheel\"\nline = 8\ntail_s = 0.5\n",
      "rig.toml");
  ASSERT_EQ(rig.disturbances.size(), 2U);
  EXPECT_EQ(rig.disturbances[0].name, "kiln door");
  EXPECT_EQ(rig.disturbances[0].wire.offset, 7U);
  EXPECT_TRUE(rig.disturbances[0].wire.active_low);
  EXPECT_EQ(rig.disturbances[0].tail, usual_disturbance_tail);
  EXPECT_EQ(rig.disturbances[1].tail, 500ms);
}

TEST(RigFileOfLines, RefusesDisturbancesThatCantBeToldApart) {
  const std::string door = "[[disturbance]]\nname = \"kiln door\"\nline = 7\n";
  EXPECT_THAT(message_of(live_text() + door + door), HasSubstr("a second disturbance"));
  EXPECT_THAT(message_of(live_text() + "[[disturbance]]\nname = \"lid\"\nline = 1\n"),
              AllOf(HasSubstr("line 1"), HasSubstr("\"lid\" has already")));
  EXPECT_THAT(message_of(oak_text() + door), HasSubstr("disturbance"))
      << "no lines in virtual time";
}

}  // namespace
}  // namespace plexor::rig
