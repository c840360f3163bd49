#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <variant>

#include "rig/rig_texts.hpp"

namespace plexor::rig {
namespace {

using ::testing::AllOf;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

/// A rig with lines and two devices, which have these listeners.
std::string rig_with(const std::string& first, const std::string& other,
                     const std::string& more = {}) {
  std::string text = oak_with("kind = \"simulated\"", "kind = \"lines\"");
  const auto from = text.find("[[device]]\n");
  const auto end = text.find("pattern_end_gap_ms = 450\n") + 25;
  const std::string device = text.substr(from, end - from);
  std::string second = device;
  second.replace(second.find("panel"), 5, "shelf");
  text.replace(from, end - from, device + first + second + other);
  return text + more + live_tables;
}

constexpr const char* serial = "[[device.listener]]\nkind = \"serial\"\nport = \"/dev/ttyUSB{}\"\n";

std::string rig_with_first(const std::string& keys, const std::string& more = {}) {
  return rig_with("[[device.listener]]\n" + keys, fmt::format(serial, 0), more);
}
template <typename Settings>
Settings read(const std::string& keys) {
  const RigFile rig = parse_rig(rig_with_first(keys), "bench/rig.toml");
  return std::get<Settings>(rig.devices.at(0).listeners.at(0).way);
}
std::string complaint(const std::string& keys) { return message_of(rig_with_first(keys)); }

// MQTT.

const std::string mqtt = "kind = \"mqtt\"\nhost = \"broker\"\nport = 1883\ntopic = \"a/+/knock\"\n";

TEST(ReadNetwork, ABrokerHasUsualSettings) {
  const auto settings = read<MqttSettings>(mqtt);
  EXPECT_EQ(settings.broker.host, "broker");
  EXPECT_EQ(settings.broker.port, 1883);
  EXPECT_EQ(settings.broker.version, MqttVersion::v5);
  EXPECT_EQ(settings.topic, "a/+/knock");
  EXPECT_EQ(settings.qos, 0);
  EXPECT_FALSE(settings.broker.password || settings.broker.tls);
}

TEST(ReadNetwork, ReadsEverySettingOfABroker) {
  const auto settings = read<MqttSettings>(mqtt + R"(version = "3.1.1"
user = "rig"
password_file = "secrets/broker"
qos = 1
pattern = 'knock (?P<event>\w+)'
keep_lines = true
[device.listener.tls]
ca_file = "ca.pem"
certificate_file = "/etc/rig.pem"
key_file = "rig.key"
)");
  EXPECT_EQ(settings.broker.version, MqttVersion::v3_1_1);
  EXPECT_EQ(settings.broker.user, "rig");
  ASSERT_TRUE(settings.broker.password && settings.broker.tls);
  EXPECT_EQ(settings.broker.password->file, "bench/secrets/broker");
  EXPECT_EQ(settings.broker.tls->ca_file, "bench/ca.pem");
  EXPECT_EQ(settings.broker.tls->certificate_file, "/etc/rig.pem");
  EXPECT_EQ(settings.broker.tls->key_file, "bench/rig.key");
  EXPECT_EQ(settings.qos, 1);
  EXPECT_EQ(settings.format.pattern, "knock (?P<event>\\w+)");
  EXPECT_TRUE(settings.format.keep_lines);
}

TEST(ReadNetwork, RefusesABrokerThatCantBe) {
  EXPECT_THAT(complaint("kind = \"mqtt\"\nport = 1883\ntopic = \"a\"\n"), HasSubstr("host"));
  EXPECT_THAT(complaint("kind = \"mqtt\"\nhost = \"b\"\ntopic = \"a\"\n"), HasSubstr("port"));
  EXPECT_THAT(complaint("kind = \"mqtt\"\nhost = \"b\"\nport = 1883\n"), HasSubstr("topic"));
  for (const char* topic : {"a/#/b", "a+/b", "#a"}) {
    EXPECT_THAT(complaint(fmt::format(
                    "kind = \"mqtt\"\nhost = \"b\"\nport = 1883\ntopic = \"{}\"\n", topic)),
                AllOf(HasSubstr("topic"), HasSubstr(topic)));
  }
  EXPECT_THAT(complaint(mqtt + "qos = 2\n"), HasSubstr("qos"));
  EXPECT_THAT(complaint(mqtt + "version = \"4\"\n"), HasSubstr("version"));
  EXPECT_THAT(complaint(mqtt + "password_file = \"p\"\n"), HasSubstr("user"));
  EXPECT_THAT(complaint(mqtt + "[device.listener.tls]\n"), HasSubstr("ca_file"));
  EXPECT_THAT(complaint(mqtt + "[device.listener.tls]\nca_file = \"a\"\nkey_file = \"b\"\n"),
              HasSubstr("certificate_file"));
  EXPECT_THAT(complaint(mqtt + "[device.listener.tls]\nca_file = \"a\"\ninsecure = true\n"),
              HasSubstr("insecure"));
}

TEST(ReadNetwork, ASecretNeverStandsInARigFile) {
  const std::string words = complaint(mqtt + "user = \"rig\"\npassword = \"kiln-2f61c0\"\n");
  EXPECT_THAT(words, AllOf(HasSubstr("password_file"), HasSubstr("password_env"),
                           ::testing::Not(HasSubstr("kiln-2f61c0"))));
  EXPECT_THAT(complaint(mqtt + "user = \"rig\"\npassword_file = \"a\"\npassword_env = \"B\"\n"),
              HasSubstr("second place"));
  const auto settings = read<MqttSettings>(mqtt + "user = \"rig\"\npassword_env = \"SECRET\"\n");
  EXPECT_EQ(settings.broker.password->variable, "SECRET");
  EXPECT_EQ(settings.broker.password->file, "");
}

// Sockets.

TEST(ReadNetwork, ADeviceToGoTo) {
  const auto tcp = read<SocketSettings>("kind = \"tcp\"\nhost = \"panel.local\"\nport = 9000\n");
  EXPECT_EQ(tcp.transport, Transport::tcp);
  EXPECT_FALSE(tcp.serves);
  EXPECT_EQ(tcp.host, "panel.local");
  EXPECT_EQ(tcp.port, 9000);
  EXPECT_EQ(tcp.framing, Framing::lines);
  EXPECT_THAT(tcp.peers, IsEmpty());
  const auto udp = read<SocketSettings>(
      "kind = \"udp\"\nhost = \"::1\"\nport = 9000\nhello = \"go\\n\"\nframing = \"syslog\"\n");
  EXPECT_EQ(udp.transport, Transport::udp);
  EXPECT_EQ(udp.hello, "go\n");
  EXPECT_EQ(udp.framing, Framing::syslog);
}

TEST(ReadNetwork, ADeviceThatComes) {
  const auto near = read<SocketSettings>("kind = \"tcp\"\nserves = true\nport = 9000\n");
  EXPECT_TRUE(near.serves && near.stays_connected);
  EXPECT_EQ(near.host, "127.0.0.1");
  EXPECT_THAT(near.peers, ElementsAre("127.0.0.1", "::1"));
  const auto far = read<SocketSettings>(R"(kind = "tcp"
serves = true
host = "0.0.0.0"
port = 65535
peers = ["192.168.7.20", "FD00:0::1"]
stays_connected = false
)");
  EXPECT_FALSE(far.stays_connected);
  EXPECT_THAT(far.peers, ElementsAre("192.168.7.20", "fd00::1"));
}

TEST(ReadNetwork, RefusesSocketsThatCantBe) {
  EXPECT_THAT(complaint("kind = \"tcp\"\nport = 9000\n"), HasSubstr("host"));
  for (const char* port : {"0", "65536", "-1", "\"http\""}) {
    EXPECT_THAT(complaint(fmt::format("kind = \"tcp\"\nhost = \"a\"\nport = {}\n", port)),
                HasSubstr("port"));
  }
  EXPECT_THAT(complaint("kind = \"udp\"\nhost = \"a\"\nport = 9000\n"), HasSubstr("hello"));
  EXPECT_THAT(complaint("kind = \"tcp\"\nhost = \"a\"\nport = 9000\nframing = \"xml\"\n"),
              HasSubstr("framing"));
  const std::string server = "kind = \"udp\"\nserves = true\nport = 9000\n";
  EXPECT_THAT(complaint(server + "host = \"192.168.7.1\"\n"), HasSubstr("peers"));
  EXPECT_THAT(complaint(server + "host = \"panel.local\"\n"), HasSubstr("IPv4 or IPv6"));
  EXPECT_THAT(complaint(server + "peers = [\"panel.local\"]\n"), HasSubstr("panel.local"));
  EXPECT_THAT(complaint(server + "peers = [\"192.168.7.0/24\"]\n"), HasSubstr("192.168.7.0/24"));
  EXPECT_THAT(complaint(server + "stays_connected = true\n"), HasSubstr("stays_connected"));
  EXPECT_THAT(complaint(server + "hello = \"go\"\n"), HasSubstr("hello"));
}

// Web hooks.

const std::string hook = "kind = \"web-hook\"\nport = 8080\npath = \"/knock/panel\"\n";

TEST(ReadNetwork, AWebHookIsNotSeenFromOutsideUnlessToldSo) {
  const auto settings = read<WebHookSettings>(hook + "token_file = \"token\"\n");
  EXPECT_EQ(settings.host, "127.0.0.1");
  EXPECT_EQ(settings.port, 8080);
  EXPECT_EQ(settings.path, "/knock/panel");
  EXPECT_EQ(settings.token.file, "bench/token");
  EXPECT_THAT(settings.peers, IsEmpty());
  const auto open = read<WebHookSettings>(hook +
                                          "token_env = \"TOKEN\"\nhost = \"::\"\n"
                                          "peers = [\"192.168.7.20\"]\n");
  EXPECT_EQ(open.host, "::");
  EXPECT_EQ(open.token.variable, "TOKEN");
  EXPECT_THAT(open.peers, ElementsAre("192.168.7.20"));
}

TEST(ReadNetwork, RefusesWebHooksThatCantBe) {
  EXPECT_THAT(complaint(hook), AllOf(HasSubstr("token_file"), HasSubstr("Bearer")));
  EXPECT_THAT(complaint(hook + "token = \"kiln\"\n"), HasSubstr("token_env"));
  for (const char* path :
       {"knock", "/a b", "/a?b", "/a#b", "/a%20b", "/kn\u00f6ck", "/a|b", "/a\\\\b"}) {
    EXPECT_THAT(complaint(fmt::format("kind = \"web-hook\"\nport = 8080\ntoken_env = \"A\"\n"
                                      "path = \"{}\"\n",
                                      path)),
                HasSubstr("a path, as"))
        << path;
  }
  EXPECT_THAT(complaint(hook + "token_env = \"A\"\nserves = true\n"), HasSubstr("serves"));
}

// Formats.

TEST(ReadNetwork, ReadsWhereThePartsOfAReportStand) {
  const auto settings = read<MqttSettings>(mqtt + R"([device.listener.fields]
event = "/knock/0/event"
device = "/from"
device_time_ms = "/ms"
strength = "/a~1b"
id = "/c~0d"
)");
  ASSERT_TRUE(settings.format.fields);
  EXPECT_EQ(settings.format.fields->event, "/knock/0/event");
  EXPECT_EQ(settings.format.fields->device, "/from");
  EXPECT_EQ(settings.format.fields->device_time_ms, "/ms");
  EXPECT_EQ(settings.format.fields->strength, "/a~1b");
  EXPECT_EQ(settings.format.fields->id, "/c~0d");
}

TEST(ReadNetwork, RefusesFieldsThatCantBe) {
  EXPECT_THAT(complaint(mqtt + "fields = { device = \"/a\" }\n"), HasSubstr("event"));
  EXPECT_THAT(complaint(mqtt + "fields = { event = \"a\" }\n"), HasSubstr("JSON pointer"));
  EXPECT_THAT(complaint(mqtt + "fields = { event = \"/a~2\" }\n"), HasSubstr("JSON pointer"));
  EXPECT_THAT(complaint(mqtt + "fields = { event = \"/a~\" }\n"), HasSubstr("JSON pointer"));
  EXPECT_THAT(complaint(mqtt + "fields = { event = \"/a\", tiem = \"/b\" }\n"), HasSubstr("tiem"));
  EXPECT_THAT(complaint(mqtt + "pattern = '(?P<event>a)'\nfields = { event = \"/a\" }\n"),
              HasSubstr("either"));
}

// Several.

TEST(ReadNetwork, ADeviceIsHeardByWireAndAir) {
  const RigFile rig =
      parse_rig(rig_with(fmt::format(serial, 0) + "[[device.listener]]\n" + mqtt +
                             "name = \"air\"\n[[device.listener]]\n" + hook + "token_env = \"A\"\n",
                         fmt::format(serial, 1)),
                "rig.toml");
  const auto& listeners = rig.devices.at(0).listeners;
  ASSERT_EQ(listeners.size(), 3U);
  EXPECT_EQ(listeners[0].name, "serial");
  EXPECT_EQ(listeners[1].name, "air");
  EXPECT_EQ(listeners[2].name, "web-hook");
}

TEST(ReadNetwork, DevicesMaySharePathsIfTheirMessagesSayWhoTheyAre) {
  const std::string shared = "[[device.listener]]\n" + hook + "token_env = \"A\"\n";
  EXPECT_THAT(message_of(rig_with(shared, shared)), HasSubstr("http://127.0.0.1:8080/knock/panel"));
  const std::string told = shared + "fields = { event = \"/e\", device = \"/d\" }\n";
  EXPECT_EQ(message_of(rig_with(told, told)), "no error");
}

TEST(ReadNetwork, ReadsWhereRunsTellHowTheyGetOn) {
  const std::string publish =
      "[publish]\nhost = \"broker\"\nport = 8883\ntopic = \"workshop/rig\"\n";
  const RigFile rig = parse_rig(
      rig_with_first(mqtt, publish + "[publish.tls]\nca_file = \"ca.pem\"\n"), "rig.toml");
  ASSERT_TRUE(rig.publish);
  EXPECT_EQ(rig.publish->topic, "workshop/rig");
  EXPECT_EQ(rig.publish->broker.port, 8883);
  EXPECT_EQ(rig.publish->broker.tls->ca_file, "ca.pem");
  EXPECT_THAT(message_of(rig_with_first(
                  mqtt, "[publish]\nhost = \"broker\"\nport = 1883\ntopic = \"workshop/#\"\n")),
              HasSubstr("without wildcards"));
  EXPECT_THAT(message_of(rig_with_first(mqtt, publish + "qos = 1\n")), HasSubstr("qos"));
}

TEST(ReadNetwork, ARigDoesNotListenToItself) {
  const auto complaint_of = [](const std::string& filter, const std::string& broker) {
    const std::string device =
        "kind = \"mqtt\"\nhost = \"broker\"\nport = 1883\ntopic = \"" + filter + "\"\n";
    return message_of(rig_with_first(
        device, "[publish]\nhost = \"" + broker + "\"\nport = 1883\ntopic = \"workshop/rig\"\n"));
  };
  for (const char* filter : {"workshop/#", "#", "workshop/rig/+", "+/rig/outcome"}) {
    EXPECT_THAT(complaint_of(filter, "broker"), AllOf(HasSubstr("publish"), HasSubstr(filter)));
    EXPECT_EQ(complaint_of(filter, "another"), "no error");
  }
  EXPECT_EQ(complaint_of("workshop/panel/#", "broker"), "no error");
}

TEST(ReadNetwork, AThirdDeviceIsHeldAgainstBothOthers) {
  const auto socket = [](const std::string& peer) {
    return "[[device.listener]]\nkind = \"udp\"\nserves = true\nhost = \"::\"\nport = 5514\npeers "
           "= [\"" +
           peer + "\"]\n";
  };
  const std::string third = "[[device]]\nname = \"door\"\nversion = \"1\"\n";
  const auto complaint_of = [&](const std::string& peer) {
    return message_of(
        rig_with(socket("192.168.7.20"), socket("2001:db8::1") + third + socket(peer)));
  };
  EXPECT_EQ(complaint_of("192.168.7.21"), "no error");
  for (const char* peer : {"192.168.7.20", "::ffff:192.168.7.20"}) {
    EXPECT_THAT(complaint_of(peer), HasSubstr("\"panel\" has already"));
  }
  for (const char* peer : {"2001:db8::1", "2001:0DB8:0::1"}) {
    EXPECT_THAT(complaint_of(peer), HasSubstr("\"shelf\" has already"));
  }
}

}  // namespace
}  // namespace plexor::rig
