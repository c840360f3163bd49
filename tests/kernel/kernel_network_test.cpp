#include <fmt/format.h>

#include <algorithm>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/udp.hpp>
#include <boost/math/distributions/binomial.hpp>
#include <cstdlib>
#include <memory>
#include <stdexcept>

#include "kernel/lateness.hpp"
#include "rig/listener.hpp"
#include "rig/told.hpp"

// Datagrams on a network that delays, loses, reorders and repeats them as it is told (netem):
// what a listener counts and measures is what was put in. In the guest.

namespace plexor::rig {
namespace {

namespace asio = boost::asio;
namespace ip = boost::asio::ip;
using namespace std::chrono_literals;
using lines::KernelInstant;
using ::testing::AllOf;
using ::testing::Ge;
using ::testing::Le;

constexpr std::uint16_t port = 5514;
constexpr const char* here = "127.0.0.1";

void run(const std::string& command) {
  if (std::system(command.c_str()) != 0) throw std::runtime_error("this failed: " + command);
}

/// What the network does, while this lives. By its path: the guest's shell has a small tc of its
/// own.
class Network {
 public:
  explicit Network(const std::string& netem) {
    run("ip link set lo up");
    run("/bin/tc qdisc add dev lo root netem limit 10000 " + netem);
  }
  ~Network() { std::system("/bin/tc qdisc del dev lo root"); }
  Network(const Network&) = delete;
  Network& operator=(const Network&) = delete;
};

/// Several devices at one socket, which are told apart by their messages: each may send as many
/// at once as a listener lets through.
class Devices {
 public:
  explicit Devices(std::size_t count) {
    for (std::size_t i = 0; i < count; ++i) devices_.push_back(device(i));
    for (std::size_t i = 0; i < count; ++i) {
      told_.push_back(std::make_unique<Told>());
      listeners_.push_back(
          listening_.listen(devices_[i], devices_[i].listeners[0], told_[i]->hearers()));
    }
    sender_.connect({ip::make_address(here), port});
  }

  /// Sends messages with the numbers 0, 1, 2, ...; then waits until nothing more comes.
  void send(std::size_t messages, base::Duration pace) {
    for (std::size_t i = 0; i < messages; ++i) {
      const std::string text = fmt::format("call #{} of device{}", i, i % devices_.size());
      sent_.push_back({.before = lines::kernel_now()});
      sender_.send(asio::buffer(text));
      sent_.back().after = lines::kernel_now();
      lines::kernel_nap(pace);
    }
    for (std::size_t last = 0; last != count_told();) {
      last = count_told();
      lines::kernel_nap(500ms);
    }
  }

  struct Sent {
    KernelInstant before;
    KernelInstant after{};
  };
  struct Heard {
    std::size_t number;
    KernelInstant at;
    Sent sent;
    [[nodiscard]] base::Duration at_most() const { return at - sent.before; }
    [[nodiscard]] base::Duration at_least() const { return at - sent.after; }
  };
  /// Of each device in the order of arrival.
  [[nodiscard]] std::vector<Heard> heard() {
    std::vector<Heard> all;
    for (const auto& told : told_) {
      const auto reports = told->reports();
      EXPECT_TRUE(std::ranges::is_sorted(reports, {}, &Report::at));
      for (const Report& report : reports) {
        const std::size_t number = std::stoul(report.event);
        all.push_back({number, report.at, sent_.at(number)});
      }
      EXPECT_EQ(told->count_remarks("dropped"), 0U);
    }
    return all;
  }
  /// Of one device alone: messages that it had sent before.
  [[nodiscard]] std::size_t repeats() {
    return told_.front()->lines().size() - told_.front()->reports().size();
  }

 private:
  [[nodiscard]] std::size_t count_told() {
    std::size_t count = told_.front()->lines().size();
    for (const auto& told : told_) count += told->reports().size();
    return count;
  }

  /// The number is the event and the id.
  static Device device(std::size_t i) {
    Device device;
    device.name = fmt::format("device{}", i);
    device.listeners = {
        {.name = "datagrams",
         .way = SocketSettings{
             .transport = Transport::udp,
             .serves = true,
             .host = here,
             .port = port,
             .peers = {here},
             .format = {.pattern =
                            "call #(?P<event>(?P<id>[0-9]+)) of (?P<device>device[0-9])$"}}}};
    return device;
  }

  Listening listening_;
  std::vector<Device> devices_;
  std::vector<std::unique_ptr<Told>> told_;
  std::vector<std::unique_ptr<Listener>> listeners_;
  std::vector<Sent> sent_;
  asio::io_context context_;
  ip::udp::socket sender_{context_, ip::udp::v4()};
};

/// A count of so many out of n lies in its exact interval, but for once in a million.
void expect_share(std::size_t count, std::size_t n, double share) {
  using boost::math::binomial_distribution;
  using Outwards = boost::math::policies::policy<
      boost::math::policies::discrete_quantile<boost::math::policies::integer_round_outwards>>;
  constexpr double either_side = 0.5e-6;
  const binomial_distribution<double, Outwards> distribution(static_cast<double>(n), share);
  const double least = boost::math::quantile(distribution, either_side);
  const double most = boost::math::quantile(boost::math::complement(distribution, either_side));
  fmt::print("{} of {}, put in {:g} %: {:g} to {:g} expected\n", count, n, 100 * share, least,
             most);
  EXPECT_THAT(static_cast<double>(count), AllOf(Ge(least), Le(most)));
}

/// Each took the delay, and not much longer than this machine was late since `begun`: who
/// watches that does so every few milliseconds only.
void expect_delay(const std::vector<Devices::Heard>& heard, base::Duration delay,
                  const Lateness& lateness, KernelInstant begun) {
  // How near the kernel's wall clock, which stamps, is brought to the monotonic one here.
  constexpr base::Duration reading_both_clocks = 1ms;
  ASSERT_FALSE(heard.empty());
  std::vector<base::Duration> least;
  std::vector<base::Duration> most;
  for (const Devices::Heard& one : heard) {
    least.push_back(one.at_least());
    most.push_back(one.at_most());
  }
  std::ranges::sort(least);
  std::ranges::sort(most);
  const base::Duration median = least[least.size() / 2];
  const base::Duration late = lateness.longest(begun);
  const base::Duration usually_late = lateness.median(begun, KernelInstant::max());
  fmt::print(
      "delay {:g} ms put in: {:.3f} to {:.3f} ms, median {:.3f} ms; this machine was late by "
      "{:.3f} ms, median {:.3f} ms\n",
      base::to_ms(delay), base::to_ms(most.front()), base::to_ms(least.back()), base::to_ms(median),
      base::to_ms(late), base::to_ms(usually_late));
  EXPECT_GE(most.front(), delay - reading_both_clocks);
  EXPECT_LE(least.back(), delay + 2 * late + reading_both_clocks);
  EXPECT_LE(median, delay + 2 * usually_late + reading_both_clocks);
}

TEST(KernelNetwork, MeasuresTheDelayThatWasPutIn) {
  const Network network("delay 20ms");
  Devices devices(1);
  const Lateness lateness;
  const KernelInstant begun = lines::kernel_now();
  devices.send(150, 2ms);
  EXPECT_EQ(devices.heard().size(), 150U);
  expect_delay(devices.heard(), 20ms, lateness, begun);
}

TEST(KernelNetwork, MissesWhatIsLost) {
  const Network network("loss 20%");
  Devices devices(5);
  devices.send(1000, 1ms);
  expect_share(1000 - devices.heard().size(), 1000, 0.2);
}

TEST(KernelNetwork, TakesWhatIsReorderedAsItArrives) {
  const Network network("delay 20ms reorder 25%");
  Devices devices(1);
  const Lateness lateness;
  const KernelInstant begun = lines::kernel_now();
  devices.send(150, 2ms);
  auto heard = devices.heard();
  EXPECT_EQ(heard.size(), 150U);
  EXPECT_FALSE(std::ranges::is_sorted(heard, {}, &Devices::Heard::number));
  const auto overtakes = [](const Devices::Heard& one) { return one.at_most() < 19ms; };
  const auto overtaking = std::erase_if(heard, overtakes);
  expect_share(overtaking, 150, 0.25);
  expect_delay(heard, 20ms, lateness, begun);
}

TEST(KernelNetwork, CountsWhatIsRepeatedOnce) {
  const Network network("duplicate 30%");
  Devices devices(1);
  devices.send(140, 1ms);
  EXPECT_EQ(devices.heard().size(), 140U);
  expect_share(devices.repeats(), 140, 0.3);
}

}  // namespace
}  // namespace plexor::rig

int main(int count, char** values) {
  testing::InitGoogleTest(&count, values);
  plexor::rig::run("insmod /modules/sch_netem.ko");
  return RUN_ALL_TESTS();
}
