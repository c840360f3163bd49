#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <fstream>

#include "base/sanitized.hpp"
#include "rig/check_listener.hpp"
#include "rig/network/receive_stamp.hpp"
#include "rig/rate_cap.hpp"
#include "rig/socket_bench.hpp"

namespace plexor::rig {
namespace {

// Several devices.

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
