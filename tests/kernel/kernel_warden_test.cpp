#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <csignal>
#include <functional>
#include <thread>

#include "base/random.hpp"
#include "kernel/aftermath.hpp"
#include "kernel/lateness.hpp"
#include "kernel/simulated_chip.hpp"
#include "safety/board.hpp"
#include "safety/warden.hpp"
#include "warden/bench_lines.hpp"
#include "warden/child.hpp"
#include "warden/controller.hpp"

// Controller and warden as processes on a chip of the kernel, whose trace tells who drove what and
// when. In the guest. Order and states are judged strictly; times only within what this emulated
// machine can keep.

namespace plexor::safety {
namespace {

using namespace std::chrono_literals;

constexpr virtual_rig::PowerChain::Setting chain{.one_shot = 100ms, .longest_on = 60ms};
constexpr WardenLimits limits{.heartbeat_age = 50ms, .longest_pulse = 40ms, .longest_tick = 40ms};

std::string new_board_file() {
  static int made = 0;
  return "/tmp/board-" + std::to_string(++made);
}

/// Chip, board, controller and warden. Children are forked before any thread is started.
class Bench {
 public:
  Bench()
      : controller_([this] { live_as_controller(chip_.device(), board_file_, Habit::pulses); }),
        warden_([this] { serve_as_warden(setting(), [] { return false; }); }) {
    chip_.pull(loop, true);
    chip_.pull(lid, true);
    lateness_ = std::make_unique<Lateness>();
  }

  /// Until the gate is active and power is given. False if it never is.
  [[nodiscard]] bool wait_for_tap() {
    const lines::KernelInstant give_up = lines::kernel_now() + 20s;
    while (lines::kernel_now() < give_up) {
      if (board_.warden().powered && chip_.is_high(gate)) return true;
      // What stood while everything was starting is cleared as a person would clear it.
      board_.acknowledge(board_.warden().trips);
      lines::kernel_nap(200us);
    }
    return false;
  }

  void pull(Offset line, bool high) { chip_.pull(line, high); }
  [[nodiscard]] const Child& controller() const { return controller_; }
  [[nodiscard]] const Child& warden() const { return warden_; }
  [[nodiscard]] Board& board() { return board_; }
  [[nodiscard]] base::Duration lateness() const { return lateness_->longest(); }

  /// Everything that was driven, with lines by their offsets.
  [[nodiscard]] std::vector<Driven> driven() const {
    std::vector<Driven> all = trace_.driven();
    for (Driven& driven : all) driven.number -= chip_.first_number();
    return all;
  }

 private:
  [[nodiscard]] WardenSetting setting() const {
    return {.wiring = wiring_of(chip_.device()),
            .board = board_file_,
            .controller = controller_.process(),
            .limits = limits};
  }

  SimulatedChip chip_;
  LineTrace trace_;
  std::string board_file_ = new_board_file();
  Board board_ = Board::create(board_file_);
  Child controller_;
  Child warden_;
  std::unique_ptr<Lateness> lateness_;
};

/// Returns when the process has ended or stopped.
void signal_and_wait(const Child& child, int number) {
  child.signal(number);
  siginfo_t what{};
  waitid(P_PID, static_cast<id_t>(child.process()), &what, WEXITED | WSTOPPED | WNOWAIT);
}

struct Attack {
  const char* name;
  std::function<void(Bench&)> strike;
  std::optional<WardenCause> cause =
      std::nullopt;  ///< that the warden tells; nothing: it is the victim
  base::Duration disables_within{};
  bool warden_ends = false;  ///< by itself, with the controller
  Opened opened = Opened::nothing;
};

const std::vector<Attack>& attacks() {
  static const std::vector<Attack> all{
      {.name = "controller killed",
       .strike = [](Bench& b) { signal_and_wait(b.controller(), SIGKILL); },
       .cause = WardenCause::controller_gone,
       .warden_ends = true},
      {.name = "controller stopped",
       .strike = [](Bench& b) { signal_and_wait(b.controller(), SIGSTOP); },
       .cause = WardenCause::heartbeat_missing,
       .disables_within = limits.heartbeat_age},
      {.name = "controller crashes",
       .strike = [](Bench& b) { signal_and_wait(b.controller(), SIGSEGV); },
       .cause = WardenCause::controller_gone,
       .warden_ends = true},
      {.name = "warden killed", .strike = [](Bench& b) { signal_and_wait(b.warden(), SIGKILL); }},
      {.name = "warden stopped", .strike = [](Bench& b) { signal_and_wait(b.warden(), SIGSTOP); }},
      {.name = "stop loop opened",
       .strike = [](Bench& b) { b.pull(loop, false); },
       .cause = WardenCause::stop_loop,
       .opened = Opened::loop},
      {.name = "lid opened",
       .strike = [](Bench& b) { b.pull(lid, false); },
       .cause = WardenCause::lid,
       .opened = Opened::lid},
  };
  return all;
}

/// One fault while the gate is active, and what came of it.
struct Round {
  Aftermath aftermath;
  std::optional<WardenCause> standing;
  base::Duration lateness{};
};

Round strike(const Attack& attack, std::uint32_t draw) {
  Bench bench;
  EXPECT_TRUE(bench.wait_for_tap()) << attack.name;
  const auto drawn = base::uniform_bits({.seed = 5, .trial = draw, .purpose = base::Purpose::dice});
  lines::kernel_nap(std::chrono::microseconds{drawn % 400'000});
  EXPECT_TRUE(bench.wait_for_tap()) << attack.name;
  lines::kernel_nap(std::chrono::microseconds{(drawn >> 32) % 8'000});
  FaultTime fault;
  fault.from = lines::kernel_now();
  attack.strike(bench);
  fault.done = lines::kernel_now();
  std::this_thread::sleep_for(400ms);
  const lines::KernelInstant until = lines::kernel_now();
  return {aftermath_of(bench.driven(), fault, attack.opened, until, chain),
          bench.board().warden().standing, bench.lateness()};
}

/// A round in which current flowed when the fault came: a loaded machine may miss its tap.
Round strike_current(const Attack& attack, std::uint32_t& draws) {
  for (int attempt = 0; attempt < 20; ++attempt) {
    const Round round = strike(attack, draws++);
    if (round.aftermath.flowed) return round;
  }
  ADD_FAILURE() << attack.name << ": current never flowed";
  return {};
}

void expect_strictly(const Attack& attack, const Aftermath& aftermath) {
  EXPECT_TRUE(aftermath.ended) << attack.name;
  EXPECT_EQ(aftermath.disabled.has_value(), attack.cause.has_value()) << attack.name;
  EXPECT_FALSE(aftermath.enabled_again) << attack.name;
  // A warden that ends lets its lines go inactive, in their order: enable first, then the watchdog
  // line, which may be an edge. It finds the power off.
  EXPECT_LE(aftermath.feeds_disabled, attack.warden_ends ? 1 : 0) << attack.name;
  if (!attack.cause) {
    EXPECT_EQ(aftermath.feeds_in_effect, 0) << attack.name;
  }
}

std::string in_ms(std::optional<base::Duration> length) {
  return length ? fmt::format("{:.1f}", base::to_ms(*length)) : "never";
}

TEST(KernelWarden, TakesThePowerOrStarvesTheOneShotWhateverFails) {  // [S20] [S21] [S22] [S31]
  constexpr int rounds = 4;
  std::uint32_t draws = 0;
  fmt::print("{:<20} {:>17} {:>14} {:>13} {:>9}\n", "at most, ms", "enable inactive", "last feed",
             "current for", "lateness");
  for (const Attack& attack : attacks()) {
    Round worst;
    for (int i = 0; i < rounds; ++i) {
      const Round round = strike_current(attack, draws);
      const Aftermath& aftermath = round.aftermath;
      expect_strictly(attack, aftermath);
      if (attack.cause) {
        EXPECT_EQ(round.standing, attack.cause) << attack.name;
      }
      const base::Duration slack = 30ms + 4 * round.lateness;
      EXPECT_LT(aftermath.disabled.value_or(0ms), attack.disables_within + slack) << attack.name;
      EXPECT_LT(aftermath.last_feed, attack.disables_within + slack) << attack.name;
      EXPECT_LT(aftermath.current, chain.one_shot + slack) << attack.name;
      worst.aftermath.disabled = std::max(worst.aftermath.disabled, aftermath.disabled);
      worst.aftermath.last_feed = std::max(worst.aftermath.last_feed, aftermath.last_feed);
      worst.aftermath.current = std::max(worst.aftermath.current, aftermath.current);
      worst.lateness = std::max(worst.lateness, round.lateness);
    }
    fmt::print("{:<20} {:>17} {:>14} {:>13} {:>9}\n", attack.name, in_ms(worst.aftermath.disabled),
               in_ms(worst.aftermath.last_feed), in_ms(worst.aftermath.current),
               in_ms(worst.lateness));
    std::fflush(stdout);
  }
}

/// A trace of one tap: enable and gate active, the watchdog fed every 2 ms until `fed_until`.
std::vector<Driven> tap_fed_until(base::Duration fed_until) {
  const auto at = [](base::Duration time) { return lines::KernelInstant{time}; };
  std::vector<Driven> driven{{at(0ms), 1, enable, true}, {at(0ms), 1, gate, true}};
  for (base::Duration now = 0ms; now <= fed_until; now += 2ms) {
    driven.push_back({at(now), 1, watchdog, now / 2ms % 2 == 0});
  }
  return driven;
}

constexpr FaultTime at_ten{lines::KernelInstant{10ms}, lines::KernelInstant{11ms}};
constexpr virtual_rig::PowerChain::Setting one_shot_only{.one_shot = 100ms, .longest_on = {}};

TEST(Aftermath, SeesAWardenThatFeedsOnAfterTheFault) {
  const Aftermath aftermath = aftermath_of(tap_fed_until(50ms), at_ten, Opened::nothing,
                                           lines::KernelInstant{100ms}, one_shot_only);
  EXPECT_TRUE(aftermath.flowed);
  EXPECT_FALSE(aftermath.ended);
  EXPECT_EQ(aftermath.feeds_in_effect, 20);
  EXPECT_EQ(aftermath.last_feed, 40ms);
  EXPECT_FALSE(aftermath.disabled);
}

TEST(Aftermath, ThePowerChainEndsWhatNobodyFeeds) {
  const Aftermath aftermath = aftermath_of(tap_fed_until(8ms), at_ten, Opened::nothing,
                                           lines::KernelInstant{300ms}, one_shot_only);
  EXPECT_TRUE(aftermath.ended);
  EXPECT_EQ(aftermath.feeds_in_effect, 0);
  EXPECT_NEAR(base::to_ms(aftermath.current), 98.0, 0.2);
}

TEST(Aftermath, SeesPowerThatComesBackAndIsFed) {
  std::vector<Driven> driven = tap_fed_until(10ms);
  driven.push_back({lines::KernelInstant{12ms}, 1, enable, false});
  driven.push_back({lines::KernelInstant{14ms}, 1, enable, true});
  driven.push_back({lines::KernelInstant{15ms}, 1, watchdog, true});
  driven.push_back({lines::KernelInstant{16ms}, 1, watchdog, true});  // no edge
  const Aftermath aftermath =
      aftermath_of(driven, at_ten, Opened::nothing, lines::KernelInstant{20ms}, one_shot_only);
  EXPECT_EQ(aftermath.disabled, base::Duration{2ms});
  EXPECT_TRUE(aftermath.enabled_again);
  EXPECT_EQ(aftermath.feeds_disabled, 1);
  EXPECT_FALSE(aftermath.ended);
}

TEST(Aftermath, AnOpenedContactEndsTheCurrentByItself) {
  for (const Opened contact : {Opened::loop, Opened::lid}) {
    const Aftermath aftermath = aftermath_of(tap_fed_until(50ms), at_ten, contact,
                                             lines::KernelInstant{40ms}, one_shot_only);
    EXPECT_TRUE(aftermath.ended);
    EXPECT_LT(aftermath.current, 2ms);
  }
}

}  // namespace
}  // namespace plexor::safety
