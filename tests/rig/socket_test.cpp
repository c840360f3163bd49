#include <fmt/format.h>
#include <netdb.h>
#include <poll.h>

#include <algorithm>
#include <array>
#include <atomic>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/ip/udp.hpp>
#include <boost/asio/read_until.hpp>
#include <boost/asio/write.hpp>
#include <cstring>
#include <fstream>
#include <thread>

#include "base/sanitized.hpp"
#include "rig/check_listener.hpp"
#include "rig/listener.hpp"
#include "rig/network/receive_stamp.hpp"
#include "rig/network/socket_listener.hpp"
#include "rig/rate_cap.hpp"
#include "rig/told.hpp"

// Devices that a test plays, on sockets of this computer. 127.0.0.2 is another peer.

namespace {
std::atomic<bool> names_are_slow = false;
}

/// The system's look-up, as slow as a test wants it: of "far.invalid", half a minute as from a
/// name server that is gone. "panel.workshop" is at 127.0.0.1 and 127.0.0.2.
extern "C" int getaddrinfo(const char* node, const char*, const addrinfo*, addrinfo** result) {
  static std::array<sockaddr_in, 2> addresses{};
  static std::array<addrinfo, 2> entries{};
  if (std::strcmp(node, "panel.workshop") != 0) {
    while (names_are_slow) usleep(1000);
    return EAI_NONAME;
  }
  for (std::uint32_t i = 0; i < 2; ++i) {
    addresses[i].sin_family = AF_INET;
    addresses[i].sin_addr.s_addr = htonl(INADDR_LOOPBACK + i);
    entries[i].ai_family = AF_INET;
    entries[i].ai_socktype = SOCK_STREAM;
    entries[i].ai_addr = reinterpret_cast<sockaddr*>(&addresses[i]);
    entries[i].ai_addrlen = sizeof addresses[i];
  }
  entries[0].ai_next = &entries[1];
  *result = entries.data();
  return 0;
}
extern "C" void freeaddrinfo(addrinfo*) {}

namespace plexor::rig {
namespace {

namespace asio = boost::asio;
namespace ip = boost::asio::ip;
using namespace std::chrono_literals;
using boost::system::error_code;
using lines::KernelInstant;
using ::testing::ElementsAre;
using ::testing::IsEmpty;

constexpr const char* here = "127.0.0.1";
constexpr const char* elsewhere = "127.0.0.2";

/// A port that nothing has, for TCP and UDP.
std::uint16_t free_port() {
  asio::io_context context;
  const ip::tcp::acceptor acceptor(context, {ip::make_address(here), 0});
  return acceptor.local_endpoint().port();
}

/// Until it can be read, 10 s at most.
template <typename Socket>
void await(Socket& socket) {
  pollfd what{socket.native_handle(), POLLIN, 0};
  if (poll(&what, 1, 10'000) != 1) throw std::runtime_error("nothing came");
}

/// The device's end of a connection that it makes.
class Caller {
 public:
  explicit Caller(std::uint16_t port, const std::string& from = here,
                  const std::string& to = here) {
    socket_.open(ip::make_address(from).is_v6() ? ip::tcp::v6() : ip::tcp::v4());
    socket_.bind({ip::make_address(from), 0});
    socket_.connect({ip::make_address(to), port});
  }
  void says(const std::string& text) { asio::write(socket_, asio::buffer(text)); }
  void hangs_up() { socket_.close(); }
  /// Without a word of farewell.
  void resets() {
    socket_.set_option(asio::socket_base::linger(true, 0));
    socket_.close();
  }
  /// The other side closes it.
  bool is_hung_up_on() {
    return comes_true([this] {
      char byte = 0;
      error_code error;
      socket_.non_blocking(true);
      socket_.read_some(asio::buffer(&byte, 1), error);
      return error && error != asio::error::would_block;
    });
  }

 private:
  asio::io_context context_;
  ip::tcp::socket socket_{context_};
};

/// A device that waits for a connection.
class Host {
 public:
  explicit Host(std::uint16_t port, const std::string& address = here)
      : acceptor_(context_, {ip::make_address(address), port}) {}
  void lets_in() {
    await(acceptor_);
    socket_ = acceptor_.accept();
  }
  std::string hears_line() {
    await(socket_);
    std::string text;
    asio::read_until(socket_, asio::dynamic_buffer(text), '\n');
    return text;
  }
  void says(const std::string& text) { asio::write(socket_, asio::buffer(text)); }
  void hangs_up() { socket_ = ip::tcp::socket(context_); }

 private:
  asio::io_context context_;
  ip::tcp::acceptor acceptor_;
  ip::tcp::socket socket_{context_};
};

/// A device with datagrams.
class Sender {
 public:
  explicit Sender(const std::string& address = here, std::uint16_t port = 0)
      : socket_(context_, {ip::make_address(address), port}) {}
  void sends(std::uint16_t port, const std::string& text, const std::string& to = here) {
    socket_.send_to(asio::buffer(text), {ip::make_address(to), port});
  }
  std::string hears() {
    await(socket_);
    std::string text(1000, '\0');
    text.resize(socket_.receive_from(asio::buffer(text), last_));
    return text;
  }
  void answers(const std::string& text) { socket_.send_to(asio::buffer(text), last_); }

 private:
  asio::io_context context_;
  ip::udp::socket socket_;
  ip::udp::endpoint last_;
};

constexpr const char* pattern = R"(^(?P<event>\w+)( #(?P<id>\d+))?( of (?P<device>\w+))?$)";

SocketSettings tcp_server(std::uint16_t port) {
  return {.transport = Transport::tcp,
          .serves = true,
          .host = here,
          .port = port,
          .peers = {here, "::1"},
          .format = {.pattern = pattern}};
}
SocketSettings udp_server(std::uint16_t port) {
  SocketSettings settings = tcp_server(port);
  settings.transport = Transport::udp;
  return settings;
}
SocketSettings tcp_client(std::uint16_t port) {
  return {.transport = Transport::tcp,
          .host = here,
          .port = port,
          .hello = "report\n",
          .format = {.pattern = pattern}};
}
SocketSettings udp_client(std::uint16_t port) {
  SocketSettings settings = tcp_client(port);
  settings.transport = Transport::udp;
  return settings;
}

constexpr SocketLimits quick{.connect = 200ms,
                             .first_wait = 10ms,
                             .longest_wait = 50ms,
                             .hello_every = 50ms,
                             .half_message = 100ms};

std::unique_ptr<Listener> listen(const SocketSettings& settings, Told& told,
                                 const std::string& name = "panel") {
  auto server = settings.serves ? SocketServer::open(settings, quick) : nullptr;
  return std::make_unique<SocketListener>(name, settings, told.hearers(), std::move(server), quick);
}

class SocketTest : public ::testing::Test {
 protected:
  void begin(const SocketSettings& settings) { listener = listen(settings, told); }
  /// It is gone, promptly.
  void expect_prompt_end() {
    const KernelInstant begun = lines::kernel_now();
    listener.reset();
    EXPECT_LT(lines::kernel_now() - begun, 500ms);
  }

  std::uint16_t port = free_port();
  Told told;
  std::unique_ptr<Listener> listener;
};

using TcpServerTest = SocketTest;
using TcpClientTest = SocketTest;
using UdpServerTest = SocketTest;
using UdpClientTest = SocketTest;

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
  again.resets();
  told.expect_states({false, true, false, true, false});
  told.expect_remark("reset by peer");
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
  device.says(std::string(100'000, 'x') + "\ncall\n");
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

TEST_F(TcpClientTest, FindsADeviceByNameAtWhicheverOfItsAddresses) {
  Host device(port, elsewhere);
  SocketSettings settings = tcp_client(port);
  settings.host = "panel.workshop";
  begin(settings);
  device.lets_in();
  device.says("call\n");
  told.expect_events({"call"});
}

TEST_F(TcpClientTest, HearsOverIPv6) {
  Host device(port, "::1");
  SocketSettings settings = tcp_client(port);
  settings.host = "::1";
  begin(settings);
  device.lets_in();
  device.says("call\n");
  told.expect_events({"call"});
}

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
  device.sends(port, std::string(5000, 'x') + "\nhelp");
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

TEST_F(UdpServerTest, StampsWhatComesWhileItIsBusyWhenItCame) {
  BusyHearer busy;
  const auto settings = udp_server(port);
  listener = std::make_unique<SocketListener>("panel", settings, busy.hearers(told),
                                              SocketServer::open(settings));
  Sender device;
  device.sends(port, "call");
  told.expect_events({"call"});
  const KernelInstant sent = lines::kernel_now();
  device.sends(port, "help");
  lines::kernel_nap(100ms);
  busy.is_busy = false;
  told.expect_events({"call", "help"});
  EXPECT_LT(told.reports().back().at - sent, 50ms);
}

TEST_F(UdpServerTest, SaysHowManyDatagramsTheKernelDropped) {
  BusyHearer busy;
  const auto settings = udp_server(port);
  listener = std::make_unique<SocketListener>("panel", settings, busy.hearers(told),
                                              SocketServer::open(settings));
  Sender device;
  device.sends(port, "call");
  told.expect_events({"call"});
  const std::string large(8000, 'x');
  for (int i = 0; i < 1000; ++i) device.sends(port, large);
  busy.is_busy = false;
  EXPECT_TRUE(comes_true([&] {
    device.sends(port, "help");
    lines::kernel_nap(5ms);
    return told.count_remarks("the kernel dropped") > 0;
  }));
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

// Several devices.

Device device_with(const std::string& name, const SocketSettings& settings) {
  Device device;
  device.name = name;
  device.listeners = {{.name = "socket", .way = settings}};
  return device;
}

TEST(SharedSocket, DevicesAreToldApartByTheirAddress) {
  const std::uint16_t port = free_port();
  for (SocketSettings settings : {tcp_server(port), udp_server(port)}) {
    Listening listening;
    Told panel_told;
    Told door_told;
    const Device panel = device_with("panel", settings);
    settings.peers = {elsewhere};
    const Device door = device_with("door", settings);
    const auto panel_ear = listening.listen(panel, panel.listeners[0], panel_told.hearers());
    auto door_ear = listening.listen(door, door.listeners[0], door_told.hearers());
    const auto say = [&](const std::string& from, const std::string& text) {
      if (settings.transport == Transport::udp) return Sender(from).sends(port, text);
      Caller(port, from).says(text + "\n");
    };
    say(here, "call");
    say(elsewhere, "help");
    panel_told.expect_events({"call"});
    door_told.expect_events({"help"});
    door_ear.reset();
    say(here, "kiln");
    panel_told.expect_events({"call", "kiln"});
  }
}

TEST(SharedSocket, DevicesAreToldApartByTheirName) {
  const std::uint16_t port = free_port();
  Listening listening;
  Told panel_told;
  Told door_told;
  const Device panel = device_with("panel", udp_server(port));
  const Device door = device_with("door", udp_server(port));
  const auto panel_ear = listening.listen(panel, panel.listeners[0], panel_told.hearers());
  const auto door_ear = listening.listen(door, door.listeners[0], door_told.hearers());
  Sender().sends(port, "call of panel\nhelp of door\nkiln of panel");
  panel_told.expect_events({"call", "kiln"});
  door_told.expect_events({"help"});
}

TEST(SharedSocket, IsFreeOnceItsListenersAreGone) {
  const std::uint16_t port = free_port();
  Listening listening;
  for (const SocketSettings& settings : {tcp_server(port), udp_server(port), tcp_server(port)}) {
    Told told;
    const Device panel = device_with("panel", settings);
    const auto ear = listening.listen(panel, panel.listeners[0], told.hearers());
  }
}

// Floods and stamps.

std::size_t memory_kib() {
  std::ifstream status("/proc/self/status");
  std::string word;
  std::size_t kib = 0;
  while (status >> word && word != "VmRSS:") {
  }
  status >> kib;
  return kib;
}

TEST(FloodedSocket, StaysSmallAndLetsAFewThrough) {
  const std::uint16_t port = free_port();
  Told tcp_told;
  Told udp_told;
  const auto tcp_ear = listen(tcp_server(port), tcp_told, "panel");
  const auto udp_ear = listen(udp_server(port), udp_told, "door");
  Caller tcp(port);
  Sender udp;
  const auto flood = [&](base::Duration length) {
    const KernelInstant begun = lines::kernel_now();
    for (auto turn = begun; turn < begun + length; turn += 10ms) {
      std::string text;
      for (int i = 0; i < 100; ++i) text += "call\n";
      tcp.says(text);
      for (int i = 0; i < 100; ++i) udp.sends(port, "call");
      lines::kernel_sleep_until(turn + 10ms);
    }
  };
  flood(200ms);
  const std::size_t before = memory_kib();
  flood(2s);
  tcp_told.expect_remark("reports a second");
  udp_told.expect_remark("reports a second");
  if (!base::is_sanitized) {
    EXPECT_LT(memory_kib(), before + 4000);
  }
  for (Told* told : {&tcp_told, &udp_told}) {
    EXPECT_GT(told->reports().size(), RateCap::at_once);
    EXPECT_LT(told->reports().size(), RateCap::at_once + 10 * RateCap::per_second);
  }
}

/// How much later than it was sent each of some messages is stamped, in rising order.
template <typename Send>
std::vector<base::Duration> delays(Told& told, Send send) {
  constexpr std::size_t messages = 100;
  std::vector<KernelInstant> sent;
  for (std::size_t i = 0; i < messages; ++i) {
    lines::kernel_nap(1ms);
    sent.push_back(lines::kernel_now());
    send();
  }
  EXPECT_TRUE(comes_true([&] { return told.reports().size() == messages; }));
  const auto reports = told.reports();
  EXPECT_TRUE(std::ranges::is_sorted(reports, {}, &Report::at));
  std::vector<base::Duration> delays;
  for (std::size_t i = 0; i < std::min(messages, reports.size()); ++i) {
    delays.push_back(reports[i].at - sent[i]);
  }
  std::ranges::sort(delays);
  return delays;
}

void expect_close(const std::string& what, const std::vector<base::Duration>& delays) {
  const auto us = [](base::Duration d) { return base::to_ms(d) * 1000; };
  fmt::print("{}: stamped {:.1f} us after the sender's clock ({:.1f} to {:.1f} us)\n", what,
             us(delays[delays.size() / 2]), us(delays.front()), us(delays.back()));
  EXPECT_GT(delays.front(), -100us);
  EXPECT_LT(delays[delays.size() / 2], 2ms);
}

TEST(StampedSocket, IsCloseToTheSendersClock) {
  const std::uint16_t port = free_port();
  Told tcp_told;
  Told udp_told;
  const auto tcp_ear = listen(tcp_server(port), tcp_told);
  const auto udp_ear = listen(udp_server(port), udp_told);
  Caller tcp(port);
  Sender udp;
  expect_close("TCP", delays(tcp_told, [&] { tcp.says("call\n"); }));
  expect_close("UDP", delays(udp_told, [&] { udp.sends(port, "call"); }));
}

// The check before a run.

std::vector<Finding> check(const SocketSettings& settings) {
  return check_listeners(device_with("panel", settings));
}

TEST(CheckSocket, SaysWhoIsHeardAtAServer) {
  const std::uint16_t port = free_port();
  const auto findings = check(tcp_server(port));
  ASSERT_EQ(findings.size(), 1U);
  EXPECT_EQ(findings[0].state, Finding::State::good);
  EXPECT_EQ(findings[0].found,
            fmt::format("tcp 127.0.0.1:{}, free; heard are only 127.0.0.1, ::1", port));
}

TEST(CheckSocket, WarnsOfAPeerThatCannotCome) {
  SocketSettings settings = udp_server(free_port());
  settings.peers = {here, "192.0.2.7"};
  const auto findings = check(settings);
  ASSERT_EQ(findings.size(), 2U);
  EXPECT_EQ(findings[1].state, Finding::State::warning);
  EXPECT_EQ(findings[1].found, "192.0.2.7 can't come to 127.0.0.1");
}

TEST(CheckSocket, SaysThatAnAddressIsTaken) {
  const std::uint16_t port = free_port();
  const Host other(port);
  EXPECT_EQ(check(tcp_server(port))[0].state, Finding::State::bad);
}

TEST(CheckSocket, SaysHowLongConnectingTook) {
  const std::uint16_t port = free_port();
  EXPECT_EQ(check(tcp_client(port))[0].state, Finding::State::bad);
  const Host device(port);
  const Finding finding = check(tcp_client(port))[0];
  EXPECT_EQ(finding.state, Finding::State::good);
  EXPECT_THAT(finding.found, testing::HasSubstr("connected after"));
}

TEST(CheckSocket, SaysWhetherAnythingCameBack) {
  const std::uint16_t port = free_port();
  EXPECT_EQ(check(udp_client(port))[0].state, Finding::State::bad);
  Sender device(here, port);
  const Finding silent = check(udp_client(port))[0];
  EXPECT_EQ(silent.state, Finding::State::warning);
  EXPECT_THAT(silent.found, testing::HasSubstr("nothing came back"));
  EXPECT_EQ(device.hears(), "report\n");
  std::thread answering([&] {
    (void)device.hears();
    device.answers("panel is here");
  });
  EXPECT_THAT(check(udp_client(port))[0].found, testing::HasSubstr("answers after"));
  answering.join();
}

}  // namespace
}  // namespace plexor::rig
