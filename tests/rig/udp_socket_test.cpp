#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <atomic>

#include "rig/network/receive_stamp.hpp"
#include "rig/socket_bench.hpp"

namespace plexor::rig {
namespace {

using ::testing::ElementsAre;
using ::testing::IsEmpty;

using UdpServerTest = SocketTest;
using UdpClientTest = SocketTest;

// UDP, the device sends to us.

TEST_F(UdpServerTest, HearsEachLineOfADatagramStampedAlike) {
  begin(udp_server(port));
  Sender().sends(port, "call\nhelp\r\nkiln");
  told.expect_events({"call", "help", "kiln"});
  const auto reports = told.reports();
  EXPECT_EQ(reports.front().at, reports.back().at);
  EXPECT_THAT(told.states(), IsEmpty());
  EXPECT_EQ(listener->arrival_width(), stamp_width(true));
}

TEST_F(UdpServerTest, CountsWhatHasAnIdOnceInTheOrderOfArrival) {
  begin(udp_server(port));
  Sender device;
  for (const std::string line : {"kiln #3", "call #1", "kiln #3", "help #2", "call #1"}) {
    device.sends(port, line);
  }
  device.sends(port, "shave");
  told.expect_events({"kiln", "call", "help", "shave"});
  EXPECT_TRUE(std::ranges::is_sorted(told.reports(), {}, &Report::at));
}

TEST_F(UdpServerTest, DoesNotCountAStrangerAndSaysSoOnce) {
  begin(udp_server(port));
  Sender stranger(elsewhere);
  for (int i = 0; i < 3; ++i) stranger.sends(port, "call");
  for (int i = 3; i < 100; ++i) Sender(fmt::format("127.0.0.{}", i)).sends(port, "call");
  Sender().sends(port, "help");
  told.expect_events({"help"});
  EXPECT_EQ(told.count_remarks("127.0.0.2 is not counted"), 1U);
  EXPECT_LE(told.remarks().size(), 8U);
}

TEST_F(UdpServerTest, DropsDatagramsThatAreTooLong) {
  begin(udp_server(port));
  Sender device;
  device.sends(port, "call\n" + std::string(SocketServer::longest_datagram, 'x'));
  device.sends(port, fmt::format("{:x>5000}\nhelp", ""));
  device.sends(port, "");
  device.sends(port, "kiln");
  told.expect_events({"help", "kiln"});
  told.expect_remark("datagrams of more than 8192 bytes");
  told.expect_remark("messages of more than 4096 bytes");
}

TEST_F(UdpServerTest, ReadsSyslog) {
  SocketSettings settings = udp_server(port);
  settings.framing = Framing::syslog;
  begin(settings);
  Sender device;
  device.sends(port, "<13>1 2026-06-11T09:30:00Z panel knock - - - call");
  device.sends(port, "<13>Jun 11 09:30:00 panel knock: help");
  device.sends(port, "<13>1 - - - - - - kiln\n");
  told.expect_events({"call", "kiln"});
  told.expect_remark("no syslog message");
}

TEST_F(UdpServerTest, HearsOverIPv6) {
  SocketSettings settings = udp_server(port);
  settings.host = "::1";
  begin(settings);
  Sender("::1").sends(port, "call", "::1");
  told.expect_events({"call"});
}

/// Its hearer is busy until it may go on.
class BusyHearer {
 public:
  [[nodiscard]] Hearers hearers(Told& told) {
    Hearers hearers = told.hearers();
    hearers.report = [this, report = hearers.report](const Report& what) {
      report(what);
      while (is_busy) lines::kernel_nap(1ms);
    };
    return hearers;
  }
  std::atomic<bool> is_busy = true;
};

class BusyUdpServerTest : public UdpServerTest {
 protected:
  /// It hears a first event, and is busy with that until it may go on.
  void become_busy() {
    const auto settings = udp_server(port);
    listener = std::make_unique<SocketListener>("panel", settings, busy.hearers(told),
                                                SocketServer::open(settings));
    device.sends(port, "call");
    told.expect_events({"call"});
  }

  BusyHearer busy;
  Sender device;
};

TEST_F(BusyUdpServerTest, StampsWhatComesMeanwhileWhenItCame) {
  become_busy();
  const KernelInstant sent = lines::kernel_now();
  device.sends(port, "help");
  lines::kernel_nap(100ms);
  busy.is_busy = false;
  told.expect_events({"call", "help"});
  EXPECT_LT(told.reports().back().at - sent, 50ms);
}

TEST_F(BusyUdpServerTest, SaysHowManyDatagramsTheKernelDroppedAndSinceWhenItMayHaveMissedOne) {
  become_busy();
  const std::string large(8000, 'x');
  for (int i = 0; i < 1000; ++i) device.sends(port, large);
  const KernelInstant flooded = lines::kernel_now();
  busy.is_busy = false;
  EXPECT_TRUE(comes_true([&] {
    device.sends(port, "help");
    lines::kernel_nap(5ms);
    return told.count_remarks("the kernel dropped") > 0;
  }));
  told.expect_states({false, true});
  EXPECT_LT(told.losses().front(), flooded);
  EXPECT_GE(told.losses().front(), told.reports().front().at);
}

// UDP, we go to the device.

TEST_F(UdpClientTest, SaysHelloAgainAndAgainAndHearsOnlyTheDevice) {
  Sender device(here, port);
  begin(udp_client(port));
  EXPECT_EQ(device.hears(), "report\n");
  EXPECT_EQ(device.hears(), "report\n");
  device.answers("call\nhelp");
  told.expect_events({"call", "help"});
  EXPECT_THAT(told.states(), IsEmpty());
}

TEST_F(UdpClientTest, CannotHearADeviceThatIsNotThereUntilItAnswers) {
  begin(udp_client(port));
  told.expect_states({false});
  told.expect_remark("Connection refused");
  {
    Sender device(here, port);
    EXPECT_EQ(device.hears(), "report\n");
    EXPECT_THAT(told.states(), ElementsAre(false));
    device.answers("call");
    told.expect_events({"call"});
    EXPECT_THAT(told.states(), ElementsAre(false, true));
  }
  told.expect_states({false, true, false});
  Sender device(here, port);
  EXPECT_EQ(device.hears(), "report\n");
  device.answers("help");
  told.expect_events({"call", "help"});
}

TEST_F(UdpClientTest, ADeviceThatDoesNotRefuseAnyMoreIsThereThoughItSaysNothing) {
  begin(udp_client(port));
  told.expect_states({false});
  Sender device(here, port);
  told.expect_states({false, true});
  EXPECT_THAT(told.reports(), IsEmpty());
}

TEST_F(UdpClientTest, CannotHearADeviceThatIsRefusedUntilItAnswersFromAnotherAddress) {
  SocketSettings settings = udp_client(port);
  settings.host = "panel.workshop";
  Sender other(elsewhere, port);
  {
    Sender device(here, port);
    begin(settings);
    (void)device.hears();
    device.answers("call");
    told.expect_events({"call"});
  }
  EXPECT_EQ(other.hears(), "report\n");
  told.expect_states({false});
  other.answers("help");
  told.expect_events({"call", "help"});
  told.expect_states({false, true});
}

TEST_F(UdpClientTest, LooksForANameUntilItIsKnown) {
  names_are_slow = true;
  SocketSettings settings = udp_client(port);
  settings.host = "far.invalid";
  begin(settings);
  lines::kernel_nap(10ms);
  expect_prompt_end();
  names_are_slow = false;
  begin(settings);
  told.expect_states({false});
  told.expect_remark("\"far.invalid\" is not found");
  expect_prompt_end();
}

TEST_F(UdpClientTest, EndsPromptlyInEachState) {
  begin(udp_client(port));
  expect_prompt_end();
  begin(udp_client(port));
  told.expect_states({false});
  expect_prompt_end();
  Sender device(here, port);
  begin(udp_client(port));
  EXPECT_EQ(device.hears(), "report\n");
  expect_prompt_end();
}

}  // namespace
}  // namespace plexor::rig
