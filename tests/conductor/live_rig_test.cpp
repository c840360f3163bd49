#include "run/live_rig.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <functional>

#include "base/error.hpp"
#include "conductor/fake_warden.hpp"
#include "lines/line_bench.hpp"

// The rig of lines as a whole, on virtual lines, beside a warden that a test can make fail.

namespace plexor::run {
namespace {

using namespace std::chrono_literals;
using ::testing::HasSubstr;

constexpr std::uint32_t gate_offset = 5;
constexpr std::uint32_t contact_offset = 6;
constexpr std::uint32_t power_offset = 8;

/// One that takes the power from a controller that has been silent for 200 ms.
constexpr safety::WardenLimits watchful{
    .heartbeat_age = 200ms, .longest_pulse = 1h, .longest_tick = 1h};

class Bench {
 public:
  explicit Bench(const safety::WardenLimits& limits = watchful)
      : board_(safety::Board::create(lines_.chip() + "-board")), warden_(board_, limits) {
    rig_.contact.kind = rig::ContactKind::tip_switch;
    rig_.limits.max_pulse = 30ms;
    rig_.limits.min_rest = 40ms;
    rig_.tiers.heartbeat_age = 200ms;
    rig_.tiers.one_shot = 1s;
    rig_.wiring = safety::Wiring{};
    rig_.wiring->chip = lines_.chip();
    rig_.wiring->gate = {gate_offset};
    rig_.wiring->contact = safety::Wire{contact_offset};
  }
  ~Bench() {
    over_ = true;
    if (warden_thread_.joinable()) warden_thread_.join();
  }
  Bench(const Bench&) = delete;
  Bench& operator=(const Bench&) = delete;

  /// The rig's one device can be restarted.
  void fit_power_line(bool active_low) {
    rig::Device& panel = rig_.devices.emplace_back(rig::Device{.name = "panel", .version = "1"});
    panel.recovery.emplace().power.emplace().line = safety::Wire{power_offset, active_low};
  }

  /// What the warden sees and does is settled before.
  std::unique_ptr<LiveRig> start(const std::function<void(FakeWarden&)>& settle = [](auto&) {}) {
    settle(warden_);
    warden_thread_ = std::thread([this] {
      while (!over_) {
        warden_.tick(lines::kernel_now());
        lines::kernel_nap(2ms);
      }
    });
    auto live = std::make_unique<LiveRig>(rig_, Use{}, board_);
    live->see(safety::Guard::coil_cool, safety::Reading::good);
    live->see(safety::Guard::supply, safety::Reading::good);
    return live;
  }
  void touch(bool touching) { lines_.drive(contact_offset, touching); }
  [[nodiscard]] bool power_line_is_high() { return lines_.is_high(power_offset); }
  [[nodiscard]] bool gate_is_on() { return lines_.is_high(gate_offset); }
  [[nodiscard]] bool power_is_wanted() const {
    safety::Evidence left;
    board_.read_controller(left);
    return left.power_wanted;
  }
  [[nodiscard]] std::uint64_t trips() const { return board_.warden().trips; }

 private:
  lines::VirtualBench lines_;
  safety::Board board_;
  FakeWarden warden_;
  rig::RigFile rig_;
  std::atomic<bool> over_ = false;
  std::thread warden_thread_;
};

std::string fault_of(const std::function<void()>& deed) {
  try {
    deed();
  } catch (const base::RigFault& fault) {
    return fault.what();
  }
  return "no fault";
}

/// The first of its kind that is observed in time.
template <typename Kind>
std::optional<Kind> observed(LiveRig& rig, base::Duration patience = 10s) {
  const base::Instant give_up = rig.now() + patience;
  while (rig.now() < give_up) {
    const auto observation = rig.observe_until(rig.now() + 50ms);
    if (!observation) continue;
    if (const auto* kind = std::get_if<Kind>(&*observation)) return *kind;
  }
  return std::nullopt;
}

TEST(LiveRig, GivesLeaveOnceTheWardenHasTakenThePowerFromASilentController) {  // [S65]
  Bench bench;
  const auto rig = bench.start();
  rig->wait_until_ready();
  rig->arm({});
  EXPECT_EQ(bench.trips(), 1U) << "shown in this very run";
  EXPECT_TRUE(bench.power_is_wanted());
  rig->stand_down();
  EXPECT_FALSE(bench.power_is_wanted());
}

TEST(LiveRig, GivesNoLeaveBesideAWardenThatBearsSilence) {  // [S65]
  Bench bench(FakeWarden::patient);
  const auto rig = bench.start();
  rig->wait_until_ready();
  EXPECT_THAT(fault_of([&] { rig->arm({}); }), HasSubstr("silent controller"));
  EXPECT_FALSE(bench.power_is_wanted());
  rig->fire(std::vector{base::Pulse{rig->now() + 5ms, 10ms}});
  EXPECT_FALSE(rig->observe_until(rig->now() + 100ms));
}

TEST(LiveRig, GivesNoLeaveBesideAWardenThatGivesNoPower) {  // [S65]
  Bench bench;
  const auto rig = bench.start([](FakeWarden& warden) { warden.gives_power = false; });
  rig->wait_until_ready();
  EXPECT_THAT(fault_of([&] { rig->arm({}); }), HasSubstr("gives no power"));
  EXPECT_FALSE(bench.power_is_wanted());
}

TEST(LiveRig, NamesWhatDoesNotHoldBeforeAnythingMoves) {  // [S1]
  Bench bench;
  const auto rig = bench.start([](FakeWarden& warden) { warden.seen.lid_closed = false; });
  EXPECT_THAT(fault_of([&] { rig->wait_until_ready(); }),
              HasSubstr("not ready to be armed: lid; nothing was moved"));
}

TEST(LiveRig, GivesPulsesOnceItIsArmedAndNotBefore) {  // [S60]
  Bench bench;
  const auto rig = bench.start();
  rig->wait_until_ready();
  rig->fire(std::vector{base::Pulse{rig->now() + 5ms, 10ms}});
  EXPECT_FALSE(rig->observe_until(rig->now() + 100ms));
  rig->arm({});
  rig->fire(std::vector{base::Pulse{rig->now() + 20ms, 10ms}});
  EXPECT_TRUE(observed<rig::PulseFired>(*rig));
}

TEST(LiveRig, AContactOutOfTheBlueIsObservedAndEndsLeave) {  // [S10] [S70]
  Bench bench;
  const auto rig = bench.start();
  rig->wait_until_ready();
  rig->arm({});
  bench.touch(true);
  const auto left = observed<rig::LeaveEnded>(*rig);
  ASSERT_TRUE(left);
  EXPECT_EQ(left->reason, "tripped: contact without tap");
  rig->fire(std::vector{base::Pulse{rig->now() + 5ms, 10ms}});
  EXPECT_FALSE(observed<rig::PulseFired>(*rig, 200ms));
}

TEST(LiveRig, ATipThatTouchesFromTheBeginningWithholdsLeave) {  // [S1]
  Bench bench;
  bench.touch(true);
  const auto rig = bench.start();
  EXPECT_THAT(fault_of([&] { rig->wait_until_ready(); }), HasSubstr("plunger not home"));
}

TEST(LiveRig, ItsEndWithinAPulseLeavesGateAndPowerOff) {  // [S69]
  Bench bench;
  auto rig = bench.start();
  rig->wait_until_ready();
  rig->arm({});
  rig->fire(std::vector{base::Pulse{rig->now() + 5ms, 30ms}});
  const lines::KernelInstant give_up = lines::kernel_now() + 10s;
  while (!bench.gate_is_on() && lines::kernel_now() < give_up) lines::kernel_nap(200us);
  rig.reset();
  EXPECT_FALSE(bench.gate_is_on());
  EXPECT_FALSE(bench.power_is_wanted());
}

TEST(LiveRig, ADeviceHasItsPowerFromTheFirstInstantAndAtEveryExit) {  // [S78]
  for (const bool active_low : {false, true}) {
    Bench bench;
    bench.fit_power_line(active_low);
    auto rig = bench.start();
    EXPECT_EQ(bench.power_line_is_high(), active_low) << "inactive";
    rig->set_power(0, false);
    EXPECT_NE(bench.power_line_is_high(), active_low);
    rig->set_power(0, true);
    EXPECT_EQ(bench.power_line_is_high(), active_low);
    rig->set_power(0, false);
    rig->make_safe();
    EXPECT_NE(bench.power_line_is_high(), active_low) << "the coil's safety is another matter";
    rig.reset();
    EXPECT_EQ(bench.power_line_is_high(), active_low);
  }
}

TEST(LiveRig, ADevicesPowerLineMovesNeitherGateNorLeave) {  // [S78]
  Bench bench;
  bench.fit_power_line(false);
  const auto rig = bench.start();
  rig->wait_until_ready();
  rig->set_power(0, false);
  rig->set_power(0, true);
  EXPECT_FALSE(bench.gate_is_on());
  EXPECT_FALSE(bench.power_is_wanted());
  EXPECT_THAT(fault_of([&] { rig->set_power(1, false); }), HasSubstr("without a power line"));
}

TEST(LiveRig, MadeSafeWithinATrialItGivesTheRestNoMore) {  // [S62] [S69]
  Bench bench;
  const auto rig = bench.start();
  rig->wait_until_ready();
  rig->arm({});
  rig->fire(
      std::vector{base::Pulse{rig->now() + 5ms, 30ms}, base::Pulse{rig->now() + 300ms, 30ms}});
  ASSERT_TRUE(observed<rig::PulseFired>(*rig));
  rig->make_safe();
  EXPECT_FALSE(bench.gate_is_on());
  EXPECT_FALSE(rig->observe_until(rig->now() + 500ms));
}

}  // namespace
}  // namespace plexor::run
