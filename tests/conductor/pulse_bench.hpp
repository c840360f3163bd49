#pragma once

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <atomic>
#include <filesystem>
#include <memory>
#include <mutex>
#include <thread>
#include <vector>

#include "conductor/fake_warden.hpp"
#include "lines/line_bench.hpp"
#include "run/pulse_thread.hpp"

namespace plexor::run {

using namespace std::chrono_literals;
using base::Duration;
using base::Pulse;
using lines::KernelInstant;
using lines::Level;

inline constexpr std::uint32_t pulse_gate_offset = 5;
inline constexpr Duration patience = 10s;

inline safety::Limits tapper_limits() {
  safety::Limits some;
  some.max_pulse = 30ms;
  some.min_rest = 40ms;
  return some;
}

/// What goes wrong with the gate, as data.
struct GateFaults {
  std::atomic<bool> refuses_on = false;  ///< try_set(active) fails
  std::atomic<int> refuses_off = 0;      ///< so many try_set(inactive) fail
  std::atomic<int> reads_active = 0;     ///< so many reads after switching off say active
  std::atomic<int> cannot_be_read = 0;   ///< so many reads fail
  std::atomic<bool> held_up_on = false;  ///< 20 ms pass before it goes on
};

inline bool one_of(std::atomic<int>& left) { return left > 0 && left-- > 0; }

/// A gate in which faults can be laid.
class FaultyGate final : public lines::Lines {
 public:
  FaultyGate(std::unique_ptr<Lines> gate, GateFaults& faults)
      : Lines("faulty", {}), gate_(std::move(gate)), faults_(faults) {}

  bool try_set(std::size_t line, Level level) noexcept override {
    if (level == Level::active && faults_.refuses_on) return false;
    if (level == Level::inactive && one_of(faults_.refuses_off)) return false;
    if (level == Level::active && faults_.held_up_on) lines::kernel_nap(20ms);
    return gate_->try_set(line, level);
  }
  std::optional<Level> try_get(std::size_t line) noexcept override {
    if (one_of(faults_.cannot_be_read)) return std::nullopt;
    if (one_of(faults_.reads_active)) return Level::active;
    return gate_->try_get(line);
  }
  std::optional<lines::Edge> wait_edge(Duration timeout) override {
    return gate_->wait_edge(timeout);
  }
  void release() noexcept override { gate_->release(); }

 private:
  std::unique_ptr<Lines> gate_;
  GateFaults& faults_;
};

struct Given {
  KernelInstant on;
  KernelInstant off;
};

/// A pulse thread that is armed and may tap, and what the gate's line saw.
class PulseBench {
 public:
  explicit PulseBench(const safety::Limits& limits = tapper_limits(),
                      Duration spin = PulseThread::usual_spin)
      : board_(safety::Board::create(lines_.chip() + "-board")),
        overseer({.interlock = {.contact_counts = false}, .warden_age = 10s, .conductor_age = 1h},
                 board_, clock,
                 [this](const rig::LeaveEnded& left) {
                   const std::scoped_lock lock(told_mutex_);
                   told_.push_back(left);
                 }),
        warden_(board_) {
    for (const auto guard :
         {safety::Guard::coil_cool, safety::Guard::journal, safety::Guard::supply}) {
      overseer.see(guard, safety::Reading::good);
    }
    overseer.see_listeners(true);
    auto gate = lines::request(
        lines_.chip(),
        {{.name = "gate", .offset = pulse_gate_offset, .direction = lines::Direction::output}});
    first_change_ = lines_.outside().newest_change();
    pulses = std::make_unique<PulseThread>(
        std::make_unique<FaultyGate>(std::move(gate), faults), limits, overseer, clock,
        [this](const rig::PulseFired& one) {
          const std::scoped_lock lock(told_mutex_);
          fired_.push_back(one);
        },
        spin);
    warden_thread_ = std::thread([this] {
      while (!over_) {
        warden_.tick(lines::kernel_now());
        lines::kernel_nap(2ms);
      }
    });
    overseer.want_power(true);
    EXPECT_TRUE(comes_true([this] { return overseer.warden().powered && overseer.arm({}); }));
  }
  ~PulseBench() {
    faults.refuses_off = 0;
    faults.reads_active = 0;
    faults.cannot_be_read = 0;
    pulses.reset();
    over_ = true;
    warden_thread_.join();
  }
  PulseBench(const PulseBench&) = delete;
  PulseBench& operator=(const PulseBench&) = delete;

  template <typename What>
  static bool comes_true(What what) {
    const KernelInstant give_up = lines::kernel_now() + patience;
    while (!what()) {
      if (lines::kernel_now() > give_up) return false;
      lines::kernel_nap(500us);
    }
    return true;
  }

  /// Pulses so long after now, under a permit of their own.
  void fire(const std::vector<std::pair<Duration, Duration>>& begin_and_length) {
    const auto epoch = overseer.begin_trial();
    ASSERT_TRUE(epoch);
    queue(begin_and_length, *epoch);
  }
  void queue(const std::vector<std::pair<Duration, Duration>>& begin_and_length,
             std::uint64_t epoch) {
    std::vector<Pulse> trial;
    for (const auto& [begin, length] : begin_and_length) {
      trial.push_back({clock.now() + begin, length});
    }
    pulses->queue(trial, epoch);
  }
  [[nodiscard]] bool trial_ends() {
    return comes_true([this] { return overseer.state() != safety::InterlockState::tapping; });
  }
  [[nodiscard]] bool gate_is_on() { return lines_.is_high(pulse_gate_offset); }
  [[nodiscard]] bool gate_goes_on() {
    return comes_true([this] { return gate_is_on(); });
  }

  [[nodiscard]] std::uint64_t heartbeats() const {
    safety::Evidence left;
    board_.read_controller(left);
    return left.heartbeat;
  }

  /// What the line itself saw, by its own clock.
  [[nodiscard]] std::vector<Given> given() {
    std::vector<Given> all;
    std::uint64_t after = first_change_;
    while (const auto change = lines_.outside().next_change(after, lines::kernel_now())) {
      after = change->number;
      if (change->offset != pulse_gate_offset) continue;
      if (change->high) {
        all.push_back({change->at, {}});
      } else if (!all.empty()) {
        all.back().off = change->at;
      }
    }
    return all;
  }
  [[nodiscard]] std::vector<rig::LeaveEnded> told() {
    const std::scoped_lock lock(told_mutex_);
    return told_;
  }
  [[nodiscard]] std::vector<rig::PulseFired> fired() {
    const std::scoped_lock lock(told_mutex_);
    return fired_;
  }
  void expect_power_taken(const std::string& reason) {
    EXPECT_TRUE(comes_true([this] { return !told().empty(); }));
    EXPECT_TRUE(comes_true([this] { return !overseer.warden().powered; }));
    ASSERT_THAT(told(), ::testing::SizeIs(1));
    EXPECT_THAT(told()[0].reason, ::testing::HasSubstr(reason));
    EXPECT_TRUE(told()[0].tripped);
    EXPECT_FALSE(overseer.begin_trial());
    EXPECT_FALSE(overseer.arm({}));
  }

 private:
  lines::VirtualBench lines_;
  safety::Board board_;
  std::uint64_t first_change_ = 0;
  std::mutex told_mutex_;
  std::vector<rig::LeaveEnded> told_;
  std::vector<rig::PulseFired> fired_;

 public:
  LiveClock clock;
  GateFaults faults;
  Overseer overseer;
  std::unique_ptr<PulseThread> pulses;

 private:
  FakeWarden warden_;
  std::atomic<bool> over_ = false;
  std::thread warden_thread_;
};

}  // namespace plexor::run
