#include "rig/serial_listener.hpp"

#include <fcntl.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <signal.h>
#include <sys/file.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>

#include "rig/check_listener.hpp"
#include "rig/line_assembler.hpp"
#include "rig/rate_cap.hpp"
#include "rig/serial_port.hpp"
#include "rig/temporary_folder.hpp"
#include "rig/told.hpp"
#include "virtual/voices/pseudo_port.hpp"

// Devices that a test plays, on pseudo-terminals.

namespace plexor::rig {
namespace {

namespace fs = std::filesystem;
using namespace std::chrono_literals;
using lines::KernelInstant;
using ::testing::AllOf;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using virtual_rig::PseudoPort;

class SerialListenerTest : public ::testing::Test {
 protected:
  SerialListenerTest() : folder_(make_temporary_folder("port")) { plug_in(); }
  ~SerialListenerTest() override {
    listener_.reset();
    device_.reset();
    fs::remove_all(folder_);
  }

  void plug_in() { device_ = std::make_unique<PseudoPort>(port()); }
  void unplug() { device_.reset(); }
  [[nodiscard]] std::string port() const { return (folder_ / "port").string(); }
  [[nodiscard]] SerialSettings settings() const { return {.port = port()}; }
  static IdentitySettings identity() {
    return {.query = "version\n",
            .pattern = R"(^panel (?P<version>\S+)$)",
            .timeout = 700ms,
            .banner = "^panel boots"};
  }

  void listen(const SerialSettings& settings,
              const std::optional<IdentitySettings>& identity = {}) {
    listener_ = std::make_unique<SerialListener>("panel", settings, identity, told_.hearers());
  }
  void listen() { listen(settings()); }

  void says(const std::string& line) { device_->write_line(line); }
  /// All of it, however long the other side takes.
  void pours(std::string_view bytes) {
    while (!bytes.empty()) {
      const std::size_t written = device_->write(bytes);
      if (written == 0) lines::kernel_nap(100us);
      bytes.remove_prefix(written);
    }
  }
  /// The device is asked, and answers so.
  void is_asked(const std::string& answer) {
    std::string heard;
    ASSERT_TRUE(
        comes_true([&] { return (heard += device_->read()).find('\n') != std::string::npos; }));
    EXPECT_EQ(heard, "version\n");
    says(answer);
  }
  static std::string fault_of(const SerialSettings& settings) {
    try {
      const SerialPort port(settings);
    } catch (const PortFault& fault) {
      return fault.what();
    }
    return "no fault";
  }

  fs::path folder_;
  std::unique_ptr<PseudoPort> device_;
  Told told_;
  std::unique_ptr<SerialListener> listener_;
};

TEST_F(SerialListenerTest, HearsEachLineWithTheInstantOfItsArrival) {
  listen();
  const KernelInstant before = lines::kernel_now();
  says("call");
  told_.expect_events({"call"});
  const KernelInstant after = lines::kernel_now();
  const KernelInstant at = told_.reports()[0].at;
  EXPECT_TRUE(before <= at && at <= after);
  EXPECT_THAT(told_.states(), IsEmpty());
}

TEST_F(SerialListenerTest, DropsWhatCameBeforeItListened) {
  says("early");
  listen();
  says("call");
  told_.expect_events({"call"});
}

TEST_F(SerialListenerTest, GivesOnWhatTheGroupsTook) {
  SerialSettings with_pattern = settings();
  with_pattern.format.pattern = R"(knock (?P<event>\w+) (?P<device_time_ms>\d+) (?P<strength>\S+))";
  listen(with_pattern);
  says("knock call 1500 0.5");
  says("chatter");
  told_.expect_events({"call"});
  EXPECT_EQ(told_.reports()[0].device_time, 1500ms);
  EXPECT_EQ(told_.reports()[0].strength, 0.5);
  EXPECT_TRUE(comes_true([&] { return told_.lines().size() == 2; }));
  EXPECT_THAT(told_.lines(), ElementsAre("knock call 1500 0.5", "chatter"));
}

TEST_F(SerialListenerTest, AnUnpluggedPortIsLostAndFoundAgain) {
  listen();
  unplug();
  told_.expect_states({false});
  plug_in();
  told_.expect_states({false, true});
  says("call");
  told_.expect_events({"call"});
  EXPECT_THAT(told_.all_remarks(), AllOf(HasSubstr("port is gone"), HasSubstr("port is back")));
}

TEST_F(SerialListenerTest, IsHeardOnceItHasAnsweredWhoItIs) {
  listen(settings(), identity());
  says("call");
  is_asked("panel 1.4.0");
  EXPECT_EQ(listener_->version(20s), "1.4.0");
  says("help");
  told_.expect_events({"help"});
  EXPECT_THAT(told_.states(), IsEmpty()) << "nothing was lost";
}

TEST_F(SerialListenerTest, ADeviceThatDoesNotAnswerIsLostUntilItDoes) {
  listen(settings(), identity());
  told_.expect_states({false});
  EXPECT_EQ(listener_->version(0ms), std::nullopt);
  (void)device_->read();
  is_asked("panel 1.4.0");
  told_.expect_states({false, true});
  EXPECT_THAT(told_.all_remarks(), HasSubstr("does not answer"));  // said after the state was told
}

TEST_F(SerialListenerTest, ADeviceThatStartsAnewIsLostUntilItHasAnswered) {
  listen(settings(), identity());
  is_asked("panel 1.4.0");
  ASSERT_TRUE(listener_->version(20s));
  says("panel boots");
  says("call");
  told_.expect_states({false});
  is_asked("panel 1.5.0");
  told_.expect_states({false, true});
  says("help");
  told_.expect_events({"help"});
  EXPECT_EQ(listener_->version(0ms), "1.5.0");
  EXPECT_THAT(told_.all_remarks(),
              AllOf(HasSubstr("started anew"), HasSubstr("\"1.5.0\" now, after")));
}

TEST_F(SerialListenerTest, APluggedInDeviceIsAskedAnew) {
  listen(settings(), identity());
  is_asked("panel 1.4.0");
  ASSERT_TRUE(listener_->version(20s));
  unplug();
  told_.expect_states({false});
  plug_in();
  is_asked("panel 1.4.0");
  told_.expect_states({false, true});
}

TEST_F(SerialListenerTest, ADeviceThatHangsIsNoticedIfItIsAskedNowAndThen) {
  IdentitySettings asked = identity();
  asked.alive_every = 100ms;
  listen(settings(), asked);
  is_asked("panel 1.4.0");
  is_asked("panel 1.4.0");
  EXPECT_THAT(told_.states(), IsEmpty());
  told_.expect_states({false});  // asked, but silent
}

TEST_F(SerialListenerTest, BearsTenMegabytesOfGarbage) {
  listen();
  std::string garbage(10'000'000, ' ');
  std::uint32_t noise = 1;
  for (char& byte : garbage)
    byte = static_cast<char>((noise = noise * 1'664'525U + 1'013'904'223U) >> 24U);
  pours(garbage);
  pours("\n");
  lines::kernel_nap(900ms);  // the cap forgets
  says("call");
  EXPECT_TRUE(comes_true([&] {
    const auto events = told_.events();
    return !events.empty() && events.back() == "call";
  }));
  EXPECT_LT(told_.reports().size(), 5000U);
}

TEST_F(SerialListenerTest, AnEndlessLineIsDroppedAndSaid) {
  listen();
  pours(std::string(2'000'000, 'x'));
  told_.expect_remark("messages of more than 512 bytes");
  pours("\ncall\n");
  told_.expect_events({"call"});
}

TEST_F(SerialListenerTest, AFloodOfReportsIsCappedAndSaid) {
  listen();
  std::string flood;
  for (int i = 0; i < 20'000; ++i) flood += "call\n";
  pours(flood);
  told_.expect_remark("more than 50 reports a second");
  listener_.reset();
  EXPECT_THAT(told_.all_remarks(), HasSubstr("were dropped"));
  EXPECT_GE(told_.reports().size(), 200U);
  EXPECT_LT(told_.reports().size(), 5000U);
}

TEST_F(SerialListenerTest, APatternThatMatchesNothingIsSaidOnce) {
  SerialSettings with_pattern = settings();
  with_pattern.format.pattern = "(?P<event>knock)";
  listen(with_pattern);
  for (int i = 0; i < 60; ++i) says("chatter");
  told_.expect_remark("none of its first 20 messages is what");
  listener_.reset();
  const std::string remarks = told_.all_remarks();
  EXPECT_EQ(remarks.find("none of"), remarks.rfind("none of"));
  EXPECT_THAT(told_.events(), IsEmpty());
}

TEST_F(SerialListenerTest, AMissingPortIsNamedWithThePortsThatAreThere) {
  EXPECT_THAT(
      fault_of({.port = "/dev/ttyUSB77"}),
      AllOf(HasSubstr("/dev/ttyUSB77"), HasSubstr("No such file"), HasSubstr("serial port")));
  EXPECT_THAT(fault_of({.usb = UsbIdentity{0xfffe, 0xfffd, "none"}}),
              AllOf(HasSubstr("fffe:fffd:none"), HasSubstr("plugged in")));
}

TEST_F(SerialListenerTest, AFileIsNoPort) {
  std::ofstream(folder_ / "file") << "call\n";
  EXPECT_THAT(fault_of({.port = (folder_ / "file").string()}), HasSubstr("no serial port"));
}

TEST_F(SerialListenerTest, ABusyPortIsRefusedNamingWhoHoldsIt) {
  const pid_t holder = fork();
  if (holder == 0) {
    const SerialPort held(settings());
    std::ofstream(folder_ / "held") << "\n";
    for (;;) pause();
  }
  const bool is_held = comes_true([&] { return fs::exists(folder_ / "held"); });
  const std::string fault = fault_of(settings());
  kill(holder, SIGKILL);
  waitpid(holder, nullptr, 0);
  ASSERT_TRUE(is_held);
  EXPECT_THAT(fault, AllOf(HasSubstr("busy"), HasSubstr("process " + std::to_string(holder))));
  EXPECT_EQ(fault_of(settings()), "no fault");
}

TEST_F(SerialListenerTest, TwoListenersCannotShareAPort) {
  listen();
  EXPECT_THAT(fault_of(settings()), HasSubstr("busy"));
}

/// What a user without rights is told; root has them all.
TEST_F(SerialListenerTest, NoPermissionIsToldWithGroupAndRule) {
  if (geteuid() != 0) GTEST_SKIP() << "only root can become somebody else";
  const fs::path terminal = fs::canonical(port());
  fs::permissions(terminal, fs::perms::owner_read | fs::perms::owner_write);
  fs::permissions(folder_, fs::perms::all);
  const pid_t nobody = fork();
  if (nobody == 0) {
    if (setgid(65534) != 0 || setuid(65534) != 0) _exit(2);
    std::ofstream(folder_ / "said") << fault_of(settings());
    _exit(0);
  }
  waitpid(nobody, nullptr, 0);
  std::string said;
  std::getline(std::ifstream(folder_ / "said"), said);
  EXPECT_THAT(said, AllOf(HasSubstr("no permission"), HasSubstr("group"), HasSubstr("usermod -aG"),
                          HasSubstr("SUBSYSTEM==\"tty\"")));
}

TEST_F(SerialListenerTest, ALatencyTimerIsLoweredWhereThatIsAllowed) {
  const fs::path bridge = folder_ / "ttyUSB0";
  fs::create_directory(bridge);
  std::ofstream(bridge / "latency_timer") << "16\n";
  EXPECT_EQ(lower_latency_timer("ttyUSB0", folder_), 1ms);
  EXPECT_EQ(lower_latency_timer("ttyUSB1", folder_), std::nullopt);
  EXPECT_EQ(lower_latency_timer("ttyUSB0", folder_), 1ms) << "and stays so";
}

Device panel_at(const std::string& port) {
  Device device{.name = "panel", .version = "1.4.0"};
  device.listeners = {{"serial", SerialSettings{.port = port}}};
  return device;
}

TEST_F(SerialListenerTest, ACheckFindsAGoodPort) {
  const auto findings = check_listeners(panel_at(port()));
  ASSERT_EQ(findings.size(), 1U);
  EXPECT_EQ(findings[0].state, Finding::State::good);
  EXPECT_THAT(findings[0].found, HasSubstr("115200 baud"));
}

TEST_F(SerialListenerTest, ACheckFindsWhatIsWrong) {
  const auto missing = check_listeners(panel_at("/dev/ttyUSB77"));
  ASSERT_EQ(missing.size(), 1U);
  EXPECT_EQ(missing[0].state, Finding::State::bad);
  EXPECT_THAT(missing[0].remedy, HasSubstr("check the cable"));
  Device silent = panel_at(port());
  silent.identity = identity();
  silent.identity->timeout = 50ms;
  const auto findings = check_listeners(silent);
  ASSERT_EQ(findings.size(), 2U);
  EXPECT_EQ(findings[1].state, Finding::State::bad);
  EXPECT_THAT(findings[1].found, HasSubstr("no answer"));
}

TEST(VersionComplaint, IsAboutAnotherVersion) {
  const Device device = panel_at("/dev/ttyUSB0");
  EXPECT_EQ(version_complaint(device, "1.4.0"), std::nullopt);
  EXPECT_THAT(version_complaint(device, "1.3.9").value(),
              AllOf(HasSubstr("\"panel\""), HasSubstr("\"1.3.9\""), HasSubstr("\"1.4.0\"")));
}

}  // namespace
}  // namespace plexor::rig
