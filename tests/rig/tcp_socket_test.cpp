#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "rig/network/receive_stamp.hpp"
#include "rig/socket_bench.hpp"

namespace plexor::rig {
namespace {

using ::testing::ElementsAre;
using ::testing::IsEmpty;

using TcpServerTest = SocketTest;
using TcpClientTest = SocketTest;

// TCP, the device comes.

TEST_F(TcpServerTest, HearsLinesHoweverTheyAreCut) {
  begin(tcp_server(port));
  told.expect_states({false});
  Caller device(port);
  told.expect_states({false, true});
  for (const std::string piece : {"ca", "ll\nhe", "lp\r\nkiln\nsha"}) {
    device.says(piece);
    lines::kernel_nap(5ms);
  }
  told.expect_events({"call", "help", "kiln"});
  device.says("ve\n");
  told.expect_events({"call", "help", "kiln", "shave"});
  EXPECT_EQ(listener->arrival_width(), stamp_width(true));
}

TEST_F(TcpServerTest, CannotHearADeviceThatHasLeftAndHearsItWhenItIsBack) {
  begin(tcp_server(port));
  Caller device(port);
  told.expect_states({false, true});
  device.hangs_up();
  told.expect_states({false, true, false});
  Caller again(port);
  again.says("call\n");
  told.expect_events({"call"});
  lines::kernel_nap(300ms);
  const KernelInstant reset = lines::kernel_now();
  again.resets();
  told.expect_states({false, true, false, true, false});
  told.expect_remark("reset by peer");
  EXPECT_LT(told.losses().back(), reset - 200ms) << "its last sign of life";
  EXPECT_GT(told.losses().back(), reset - 10s);
}

TEST_F(TcpServerTest, ADeviceThatComesAndGoesMustStayBeforeItCountsAsThere) {
  begin(tcp_server(port));
  for (int i = 0; i < 50; ++i) {
    Caller device(port);
    device.says("call\n");
    EXPECT_TRUE(
        comes_true([&] { return told.events().size() == static_cast<std::size_t>(i + 1); }));
  }
  EXPECT_LE(told.states().size(), 8U);
  const Caller device(port);
  const KernelInstant came = lines::kernel_now();
  EXPECT_TRUE(comes_true([&]() -> bool { return told.states().back(); }));
  EXPECT_GE(lines::kernel_now() - came, SocketLimits{}.staying - 500ms);
}

TEST_F(TcpServerTest, ADeviceThatComesForEachMessageIsAlwaysUp) {
  SocketSettings settings = tcp_server(port);
  settings.stays_connected = false;
  begin(settings);
  std::vector<std::string> events;
  for (const std::string event : {"call", "help", "kiln"}) {
    Caller(port).says(event + "\n");
    events.push_back(event);
    told.expect_events(events);
  }
  EXPECT_THAT(told.states(), IsEmpty());
}

TEST_F(TcpServerTest, AMessageWithoutItsEndIsNotCounted) {
  begin(tcp_server(port));
  Caller device(port);
  device.says("call\nhel");
  told.expect_events({"call"});
  device.hangs_up();
  told.expect_remark("ended within a message");
  EXPECT_THAT(told.events(), ElementsAre("call"));
}

TEST_F(TcpServerTest, DropsWhoLeavesAMessageHalfSent) {
  begin(tcp_server(port));
  Caller device(port);
  device.says("call\nhel");
  EXPECT_TRUE(device.is_hung_up_on());
  told.expect_states({false, true, false});
  told.expect_remark("the rest of a message did not come");
}

TEST_F(TcpServerTest, BearsWhoSaysNothingAndWhoAlwaysSaysAPart) {
  begin(tcp_server(port));
  Caller quiet(port);
  Caller talker(port);
  for (int i = 0; i < 25; ++i) {
    talker.says("l\ncal");
    lines::kernel_nap(10ms);
  }
  quiet.says("help\n");
  EXPECT_TRUE(comes_true([&] { return told.events().size() == 26; }));
  EXPECT_EQ(told.count_remarks("dropped or lost"), 0U);
}

TEST_F(TcpServerTest, DoesNotCountAStrangerAndSaysSoOnce) {
  begin(tcp_server(port));
  for (int i = 0; i < 3; ++i) {
    Caller stranger(port, elsewhere);
    try {
      stranger.says("call\n");
    } catch (const boost::system::system_error&) {
    }
    EXPECT_TRUE(stranger.is_hung_up_on());
  }
  Caller device(port);
  device.says("help\n");
  told.expect_events({"help"});
  EXPECT_EQ(told.count_remarks("127.0.0.2 is not counted"), 1U);
  EXPECT_THAT(told.states(), ElementsAre(false, true));
}

TEST_F(TcpServerTest, ANewConnectionBeyondTheMostReplacesTheOldestOfItsPeer) {
  SocketSettings settings = tcp_server(port);
  settings.peers = {here, elsewhere};
  begin(settings);
  std::vector<std::unique_ptr<Caller>> greedy;
  for (std::size_t i = 0; i < SocketServer::most_connections; ++i) {
    greedy.push_back(std::make_unique<Caller>(port));
  }
  Caller modest(port, elsewhere);
  EXPECT_TRUE(greedy.front()->is_hung_up_on());
  modest.says("call\n");
  told.expect_events({"call"});
  greedy.back()->says("help\n");
  greedy[1]->says("kiln\n");
  EXPECT_TRUE(comes_true([&] { return told.events().size() == 3; }));
  EXPECT_THAT(told.states(), ElementsAre(false, true));
  told.expect_remark("more than 16 connections");
}

TEST_F(TcpServerTest, DropsLinesThatAreTooLong) {
  begin(tcp_server(port));
  Caller device(port);
  device.says(fmt::format("{:x>100000}\ncall\n", ""));
  told.expect_events({"call"});
  told.expect_remark("more than 4096 bytes");
}

TEST_F(TcpServerTest, ReadsSyslogAndDropsAConnectionThatCannotBeRead) {
  SocketSettings settings = tcp_server(port);
  settings.framing = Framing::syslog;
  begin(settings);
  Caller device(port);
  device.says("22 <13>1 - - - - - - call<13>1 - - - - - [a b=\"\\]\"] \xEF\xBB\xBFhelp\nkiln\n");
  told.expect_events({"call", "help"});
  told.expect_remark("no syslog message");
  device.says("99999999999 <13>");
  EXPECT_TRUE(device.is_hung_up_on());
  told.expect_remark("RFC 6587");
  Caller(port).says("23 <13>1 - - - - - - shave");
  told.expect_events({"call", "help", "shave"});
}

TEST_F(TcpServerTest, HearsIPv6AndIPv4AtOneAddress) {
  SocketSettings settings = tcp_server(port);
  settings.host = "::";
  begin(settings);
  Caller six(port, "::1", "::1");
  six.says("call\n");
  told.expect_events({"call"});
  Caller four(port);
  four.says("help\n");
  told.expect_events({"call", "help"});
}

TEST_F(TcpServerTest, AnAddressThatIsTakenIsAFault) {
  const Host other(port);
  try {
    begin(tcp_server(port));
    FAIL() << "taken all the same";
  } catch (const base::RigFault& fault) {
    EXPECT_THAT(fault.what(), testing::HasSubstr(fmt::format("tcp 127.0.0.1:{}", port)));
    EXPECT_THAT(fault.what(), testing::HasSubstr("ss -tulpn"));
  }
}

// TCP, we go to the device.

TEST_F(TcpClientTest, SaysHelloAndHears) {
  Host device(port);
  begin(tcp_client(port));
  device.lets_in();
  EXPECT_EQ(device.hears_line(), "report\n");
  device.says("call\nhelp\n");
  told.expect_events({"call", "help"});
  EXPECT_THAT(told.states(), ElementsAre(false, true));
  EXPECT_EQ(listener->arrival_width(), stamp_width(true));
}

TEST_F(TcpClientTest, LooksForADeviceUntilItIsThereAndAgainWhenItIsLost) {
  begin(tcp_client(port));
  told.expect_remark("Connection refused");
  told.expect_states({false});
  for (int i = 0; i < 3; ++i) {
    Host device(port);
    device.lets_in();
    EXPECT_EQ(device.hears_line(), "report\n");
    device.says("call\n");
    told.expect_events(std::vector<std::string>(static_cast<std::size_t>(i) + 1, "call"));
  }
  told.expect_states({false, true, false, true, false, true, false});
  told.expect_remark("is connected again");
}

TEST_F(TcpClientTest, IsBackAfterATenthOfASecond) {
  Host device(port);
  listener = std::make_unique<SocketListener>("panel", tcp_client(port), told.hearers(), nullptr);
  device.lets_in();
  device.says("call\n");
  told.expect_events({"call"});
  const KernelInstant lost = lines::kernel_now();
  device.hangs_up();
  device.lets_in();
  EXPECT_GT(lines::kernel_now() - lost, 90ms);
  EXPECT_LT(lines::kernel_now() - lost, 1s);
}

class TcpClientByHostTest : public TcpClientTest {
 protected:
  void expect_heard(const std::string& address, const std::string& host) {
    Host device(port, address);
    SocketSettings settings = tcp_client(port);
    settings.host = host;
    begin(settings);
    device.lets_in();
    device.says("call\n");
    told.expect_events({"call"});
  }
};

TEST_F(TcpClientByHostTest, FindsADeviceByNameAtWhicheverOfItsAddresses) {
  expect_heard(elsewhere, "panel.workshop");
}

TEST_F(TcpClientByHostTest, HearsOverIPv6) { expect_heard("::1", "::1"); }

TEST_F(TcpClientTest, SaysThatNobodyAnswers) {
  SocketSettings settings = tcp_client(port);
  asio::io_context context;
  // A queue of one that is full: the kernel lets nobody in and says nothing.
  ip::tcp::acceptor full(context);
  full.open(ip::tcp::v4());
  full.bind({ip::make_address(here), port});
  full.listen(0);
  const Caller first(port);
  begin(settings);
  told.expect_remark("no answer");
  EXPECT_THAT(told.states(), ElementsAre(false));
}

TEST_F(TcpClientTest, EndsPromptlyInEachState) {
  begin(tcp_client(port));  // looking for it
  told.expect_remark("refused");
  expect_prompt_end();
  begin(tcp_client(port));  // about to begin
  expect_prompt_end();
  Host device(port);
  begin(tcp_client(port));  // connected
  device.lets_in();
  expect_prompt_end();
  begin(tcp_client(port));  // flooded
  device.lets_in();
  std::atomic<bool> over = false;
  std::thread flood([&] {
    try {
      while (!over) device.says("call\n");
    } catch (const boost::system::system_error&) {
    }
  });
  told.expect_remark("reports a second");
  expect_prompt_end();
  over = true;
  flood.join();
}

TEST_F(TcpClientTest, EndsPromptlyWhileANameIsLookedUp) {
  names_are_slow = true;
  SocketSettings settings = tcp_client(port);
  settings.host = "far.invalid";
  begin(settings);
  told.expect_states({false});
  lines::kernel_nap(20ms);
  expect_prompt_end();
  begin(settings);
  lines::kernel_nap(20ms);
  names_are_slow = false;
  told.expect_remark("\"far.invalid\" is not found");
}

}  // namespace
}  // namespace plexor::rig
