#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/resource.h>

#include <memory>

#include "base/error.hpp"
#include "base/sanitized.hpp"
#include "rig/broker.hpp"
#include "rig/check_listener.hpp"
#include "rig/network/mqtt_client.hpp"
#include "rig/network/mqtt_listener.hpp"
#include "rig/rate_cap.hpp"
#include "rig/told.hpp"

// Devices that publish to a real broker on the loopback, and a broker in all its moods.

namespace plexor::rig {
namespace {

using namespace std::chrono_literals;
using lines::KernelInstant;
using ::testing::AllOf;
using ::testing::Contains;
using ::testing::Each;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::Not;
using ::testing::SizeIs;
using Door = TestBroker::Door;

class MqttTest : public ::testing::Test {
 protected:
  void listen(const MqttSettings& settings) {
    listener_ = std::make_unique<MqttListener>("panel", settings, told_.hearers());
  }
  void listen_until_heard(const MqttSettings& settings) {
    listen(settings);
    ASSERT_TRUE(comes_true([this] {
      return told_.states() == std::vector<bool>({false, true});
    })) << ::testing::PrintToString(told_.remarks());
  }
  static MqttSettings to(const TestBroker& broker, const std::string& topic = "knock/panel") {
    return {.broker = broker.settings(), .topic = topic};
  }
  [[nodiscard]] bool hears(std::size_t count) {
    return comes_true([this, count] { return told_.reports().size() >= count; });
  }
  [[nodiscard]] bool is_told_last(bool up) {
    return comes_true([this, up] {
      const auto states = told_.states();
      return !states.empty() && states.back() == up;
    });
  }
  [[nodiscard]] bool remarks(const std::string& text) {
    return comes_true([&] { return told_.count_remarks(text) > 0; });
  }

  Told told_;
  std::unique_ptr<MqttListener> listener_;
};

/// A device, played by a client of the same library.
class Device {
 public:
  explicit Device(const TestBroker& broker) : client_({.broker = broker.settings()}, {}) {}
  void says(const std::string& payload, const std::string& topic = "knock/panel",
            bool retain = false, std::int32_t qos = 0) {
    while (client_.waiting() > MqttClient::longest_outbox / 2) lines::kernel_nap(1ms);
    client_.publish({topic, payload, retain, qos});
  }

 private:
  MqttClient client_;
};

class MqttOfBothVersions : public MqttTest, public ::testing::WithParamInterface<MqttVersion> {};

TEST_P(MqttOfBothVersions, WhatADevicePublishesIsHeardInOrderAndWhenItCame) {
  const TestBroker broker;
  MqttSettings settings = to(broker, "knock/+");
  settings.broker.version = GetParam();
  settings.qos = 1;
  listen_until_heard(settings);
  Device device(broker);
  const KernelInstant begin = lines::kernel_now();
  for (int i = 0; i < 50; ++i) device.says(fmt::format("call {}", i), "knock/panel", false, 1);
  ASSERT_TRUE(hears(50));
  const auto reports = told_.reports();
  for (std::size_t i = 0; i < 50; ++i) {
    EXPECT_EQ(reports[i].event, fmt::format("call {}", i));
    EXPECT_GE(reports[i].at, i == 0 ? begin : reports[i - 1].at);
    EXPECT_LE(reports[i].at, lines::kernel_now());
  }
  EXPECT_EQ(listener_->arrival_width(), stamp_width(true));
}

INSTANTIATE_TEST_SUITE_P(, MqttOfBothVersions,
                         ::testing::Values(MqttVersion::v3_1_1, MqttVersion::v5));

TEST_F(MqttTest, ADocumentIsReadByItsFieldsAndOnceForEachId) {
  const TestBroker broker;
  MqttSettings settings = to(broker);
  settings.format.fields = ReportFields{.event = "/knock/event", .strength = "/s", .id = "/id"};
  listen_until_heard(settings);
  Device device(broker);
  device.says(R"({"knock":{"event":"call"},"s":0.5,"id":17})");
  device.says(R"({"knock":{"event":"call"},"s":0.5,"id":17})");
  device.says(R"({"knock":{"event":"kiln"},"id":18})");
  device.says(R"({"id":19})");
  device.says(R"({"knock":{"event":"help"},"id":20})");
  ASSERT_TRUE(hears(3));
  EXPECT_THAT(told_.events(), ElementsAre("call", "kiln", "help"));
  EXPECT_EQ(told_.reports()[0].strength, 0.5);
}

TEST_F(MqttTest, AMessageThatTheBrokerKeptIsNoEvent) {
  const TestBroker broker;
  Device device(broker);
  device.says("call", "knock/panel", true);
  lines::kernel_nap(200ms);
  listen_until_heard(to(broker));
  ASSERT_TRUE(remarks("keeps an old message"));
  EXPECT_THAT(told_.reports(), IsEmpty());
  device.says("kiln");
  ASSERT_TRUE(hears(1));
  EXPECT_THAT(told_.events(), ElementsAre("kiln"));
}

TEST_F(MqttTest, OverTlsWithAPasswordItIsHeard) {
  const TestBroker broker(Door::tls);
  listen_until_heard(to(broker));
  Device(broker).says("call");
  EXPECT_TRUE(hears(1));
}

TEST_F(MqttTest, AWrongPasswordIsSaidWithoutSayingIt) {
  const TestBroker broker(Door::password);
  broker.write("wrong", "not-the-password");
  MqttSettings settings = to(broker);
  settings.broker.password = SecretPlace{.file = broker.file("wrong")};
  listen(settings);
  ASSERT_TRUE(remarks("refuses the connection"));
  EXPECT_THAT(told_.states(), ElementsAre(false));
  EXPECT_THAT(told_.remarks(), Each(Not(HasSubstr("not-the-password"))));
}

TEST_F(MqttTest, APasswordThatOthersCanReadIsRefused) {
  const TestBroker broker(Door::password);
  std::filesystem::permissions(broker.file("password"), std::filesystem::perms::others_read,
                               std::filesystem::perm_options::add);
  EXPECT_THROW(listen(to(broker)), base::InputError);
}

TEST_F(MqttTest, AKeyWithAPassPhraseIsNotAskedForAtTheTerminal) {
  const TestBroker broker(Door::tls);
  const std::string key = broker.file("panel.key");
  const std::string make = "openssl genpkey -algorithm ed25519 -aes256 -pass pass:kiln -out " + key;
  ASSERT_EQ(std::system((make + " 2>/dev/null && chmod 600 " + key).c_str()), 0);
  MqttSettings settings = to(broker);
  settings.broker.tls->certificate_file = broker.file("ca.crt");
  settings.broker.tls->key_file = key;
  listen(settings);
  ASSERT_TRUE(remarks("TLS"));
  std::filesystem::permissions(key, std::filesystem::perms::group_read,
                               std::filesystem::perm_options::add);
  EXPECT_THROW(listen(settings), base::InputError);
}

TEST_F(MqttTest, AnExpiredCertificateIsNotBelieved) {
  const TestBroker broker(Door::expired);
  listen(to(broker));
  ASSERT_TRUE(remarks("TLS"));
  EXPECT_THAT(told_.states(), ElementsAre(false));
}

TEST_F(MqttTest, ABrokerOfAnotherAuthorityIsNotBelieved) {
  const TestBroker broker(Door::tls);
  const TestBroker other(Door::tls);
  MqttSettings settings = to(broker);
  settings.broker.tls->ca_file = other.file("ca.crt");
  listen(settings);
  ASSERT_TRUE(remarks("TLS"));
  EXPECT_THAT(told_.states(), ElementsAre(false));
}

TEST_F(MqttTest, ABrokerThatStopsIsLostAndFoundAgain) {
  TestBroker broker;
  listen_until_heard(to(broker));
  broker.stop();
  ASSERT_TRUE(is_told_last(false));
  EXPECT_TRUE(remarks("broker 127.0.0.1"));
  broker.start();
  ASSERT_TRUE(is_told_last(true));
  Device(broker).says("call");
  EXPECT_TRUE(hears(1));
}

TEST_F(MqttTest, ABrokerThatAnswersNothingIsLost) {
  TestBroker broker;
  listen_until_heard(to(broker));
  broker.pause();
  const KernelInstant paused = lines::kernel_now();
  ASSERT_TRUE(is_told_last(false));
  EXPECT_LT(lines::kernel_now() - paused, 15s);
  EXPECT_LT(told_.losses().back() - paused, 1s) << "nobody knows what it has swallowed since";
  broker.go_on();
  ASSERT_TRUE(is_told_last(true));
}

TEST_F(MqttTest, AFloodIsCappedAndSaidAndTakesNoMemory) {
  const TestBroker broker;
  listen_until_heard(to(broker));
  rusage before{};
  getrusage(RUSAGE_SELF, &before);
  {
    Device device(broker);
    const KernelInstant begin = lines::kernel_now();
    for (int i = 0; i < 20'000; ++i) {
      device.says("babble");
      const KernelInstant due = begin + i * 100us;
      if (lines::kernel_now() < due) lines::kernel_sleep_until(due);
    }
    device.says("after", "knock/panel", false, 1);
  }
  const auto seconds = 1 + std::chrono::duration_cast<std::chrono::seconds>(20'000 * 100us).count();
  ASSERT_TRUE(remarks("reports a second"));
  const auto most = RateCap::at_once + RateCap::per_second * (seconds + 20);
  EXPECT_LE(told_.reports().size(), static_cast<std::size_t>(most));
  rusage after{};
  getrusage(RUSAGE_SELF, &after);
  // In kB; the address sanitizer keeps what was freed.
  EXPECT_LT(after.ru_maxrss - before.ru_maxrss, base::is_sanitized ? 500'000 : 60'000);
  const KernelInstant end = lines::kernel_now();
  listener_.reset();
  EXPECT_LT(lines::kernel_now() - end, 2s);
}

TEST_F(MqttTest, AHugeMessageIsNoEvent) {
  const TestBroker broker;
  for (const MqttVersion version : {MqttVersion::v3_1_1, MqttVersion::v5}) {
    Told told;
    MqttSettings settings = to(broker);
    settings.broker.version = version;
    const MqttListener listener("panel", settings, told.hearers());
    ASSERT_TRUE(comes_true([&] { return told.states().size() == 2; }));
    Device device(broker);
    device.says(std::string(1'000'000, 'x'));
    device.says("call");
    ASSERT_TRUE(comes_true([&] { return told.reports().size() == 1; }));
    EXPECT_THAT(told.events(), ElementsAre("call"));
  }
}

TEST_F(MqttTest, EndsAtOnceWhateverItWaitsFor) {
  TestBroker broker;
  MqttSettings nowhere = to(broker);
  broker.pause();  // it takes connections, and says nothing
  for (int wait_ms : {0, 50, 500}) {
    listen(nowhere);
    lines::kernel_nap(std::chrono::milliseconds{wait_ms});
    const KernelInstant begin = lines::kernel_now();
    listener_.reset();
    EXPECT_LT(lines::kernel_now() - begin, 1500ms);
  }
  broker.go_on();
  broker.stop();
  listen(nowhere);
  ASSERT_TRUE(remarks("refused"));
  const KernelInstant begin = lines::kernel_now();
  listener_.reset();
  EXPECT_LT(lines::kernel_now() - begin, 1s);
}

TEST_F(MqttTest, ACheckTellsTheRoundTripOrWhatIsWrong) {
  TestBroker broker(Door::tls);
  rig::Device device;
  device.name = "panel";
  device.listeners = {{"broker", to(broker)}};
  const auto good = check_listeners(device);
  ASSERT_THAT(good, SizeIs(1));
  EXPECT_EQ(good[0].state, Finding::State::good) << good[0].found;
  EXPECT_THAT(good[0].found, AllOf(HasSubstr("round trip"), HasSubstr("TLS")));
  broker.stop();
  const auto bad = check_listeners(device);
  ASSERT_THAT(bad, SizeIs(1));
  EXPECT_EQ(bad[0].state, Finding::State::bad);
  EXPECT_THAT(bad[0].found, HasSubstr("refused"));
}

TEST(MqttClient, ItsWillIsPublishedOnlyIfItVanishes) {
  const TestBroker broker;
  Told told;
  const MqttListener listener("panel", {.broker = broker.settings(), .topic = "rig/state"},
                              told.hearers());
  ASSERT_TRUE(comes_true([&] { return told.states().size() == 2; }));
  {
    MqttClient client(
        {.broker = broker.settings(), .will = MqttMessage{"rig/state", "vanished", false, 1}}, {});
    client.publish({"rig/state", "ended", false, 1});
  }
  ASSERT_TRUE(comes_true([&] { return told.reports().size() == 1; }));
  lines::kernel_nap(200ms);
  EXPECT_THAT(told.events(), ElementsAre("ended"));
}

TEST(MqttClient, CountsWhatItDoesNotKnowToHaveArrived) {
  TestBroker broker;
  Told told;
  const MqttListener listener("panel", {.broker = broker.settings(), .topic = "rig/state"},
                              told.hearers());
  ASSERT_TRUE(comes_true([&] { return told.states().size() == 2; }));
  MqttClient client({.broker = broker.settings()}, {});
  client.publish({"rig/state", "begun", false, 1});
  ASSERT_TRUE(comes_true([&] { return told.reports().size() == 1; }));
  lines::kernel_nap(100ms);  // that the broker has it reaches the client too
  broker.pause();
  for (int i = 0; i < 3; ++i) client.publish({"rig/state", "running", false, 1});
  ASSERT_TRUE(comes_true([&] { return client.waiting() == 0; }));
  lines::kernel_nap(100ms);
  broker.stop();
  EXPECT_TRUE(comes_true([&] { return client.unpublished() == 3; }));
}

TEST(MqttClient, OfTooMuchTheOldestGivesWay) {
  MqttClient client({.broker = {.host = "127.0.0.1", .port = 1}}, {});
  for (std::size_t i = 0; i < MqttClient::longest_outbox + 5; ++i) client.publish({"a", "b"});
  EXPECT_EQ(client.waiting(), MqttClient::longest_outbox);
  EXPECT_EQ(client.unpublished(), 5U);
}

}  // namespace
}  // namespace plexor::rig
