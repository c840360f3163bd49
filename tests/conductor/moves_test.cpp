#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <string>
#include <variant>

#include "conductor/bench_setup.hpp"

namespace plexor::run {
namespace {

using namespace std::chrono_literals;
using ::testing::SizeIs;

constexpr base::Instant moment(base::Duration since_start) { return base::Instant{since_start}; }

std::string at_two_spots(const std::string& more = "") {
  const auto block = [](const std::string& spot) {
    return "[[block]]\nrhythm = \"call\"\nspot = \"" + spot +
           "\"\ntrials = 3\nstrike_m_s = 0.9\nwindow_ms = 1200\ngap_ms = 1500\n";
  };
  return "[scenario]\nname = \"two spots\"\npurpose = \"surface\"\nseed = 3\n"
         "[rhythm.call]\ncontacts_ms = [0, 190]\n"
         "[[spot]]\nname = \"near\"\n[[spot]]\nname = \"far\"\n" +
         block("far") + block("near") + more;
}

/// A conductor at two spots, driven by hand: pulses are given and land as planned.
class TwoSpots {
 public:
  explicit TwoSpots(const std::string& more = "")
      : scenario_(scenario::parse_scenario(at_two_spots(more), "spots.toml")),
        rig_(rig::parse_rig(rig_text, "rig.toml")),
        conductor_(scenario_, rig_, false, 0) {
    conductor_.begin(moment(0s));
    carry_out();
  }

  /// Goes on until it asks for a move, or ends. True: it asks.
  bool run_until_asked() {
    asked_ = false;
    for (int step = 0; step < 200 && !asked_ && !conductor_.ended(); ++step) wake();
    return asked_;
  }
  void wake() {
    now_ = std::max(now_, conductor_.wake_at());
    conductor_.wake(now_);
    carry_out();
  }
  void move() {
    conductor_.moved(now_);
    carry_out();
  }

  [[nodiscard]] Conductor& conductor() { return conductor_; }
  std::vector<std::uint32_t> blocks{};  ///< of the trials that were fired
  int fired = 0;
  int made_safe = 0;
  int moves = 0;  ///< records
  std::uint32_t asked_spot = 0;

 private:
  void carry_out() {
    while (const auto action = conductor_.take_action()) {
      if (std::holds_alternative<Commit>(*action)) conductor_.durable(1'000'000, now_);
      if (std::holds_alternative<MakeSafe>(*action)) ++made_safe;
      if (const auto* ask = std::get_if<AskForMove>(&*action)) {
        asked_ = true;
        asked_spot = ask->spot;
      }
      if (const auto* fire = std::get_if<Fire>(&*action)) give(*fire);
      if (const auto* append = std::get_if<Append>(&*action)) note(append->record);
    }
  }
  void note(const journal::Record& record) {
    if (const auto* planned = std::get_if<journal::TrialPlanned>(&record))
      last_ = planned->trial.id;
    if (std::holds_alternative<journal::Moved>(record)) ++moves;
  }
  void give(const Fire& fire) {
    ++fired;
    blocks.push_back(last_.block);
    for (std::uint32_t tap = 0; tap < fire.pulses.size(); ++tap) {
      now_ = fire.pulses[tap].off();
      conductor_.observe(rig::PulseFired{tap, fire.pulses[tap]});
      now_ += 12ms;
      conductor_.observe(rig::ContactSensed{now_});
    }
  }

  scenario::Scenario scenario_;
  rig::RigFile rig_;
  Conductor conductor_;
  base::Instant now_ = moment(0s);
  base::TrialId last_{};
  bool asked_ = false;
};

TEST(Moves, AllOfASpotIsDoneBeforeTheNextIsAskedForInTheOrderOfTheSpots) {
  TwoSpots bench;
  ASSERT_TRUE(bench.run_until_asked());
  EXPECT_EQ(bench.blocks, (std::vector<std::uint32_t>{1, 1, 1})) << "near stands first";
  EXPECT_EQ(bench.asked_spot, 1U);
  EXPECT_EQ(bench.conductor().progress().move_to, "far");
  bench.move();
  EXPECT_FALSE(bench.run_until_asked());
  EXPECT_EQ(bench.blocks, (std::vector<std::uint32_t>{1, 1, 1, 0, 0, 0}));
  EXPECT_EQ(bench.moves, 1);
  ASSERT_TRUE(bench.conductor().ended());
  EXPECT_EQ(bench.conductor().ended()->reason, journal::Ended::Reason::complete);
}

// [S76]
TEST(Moves, NothingIsFiredHoweverOftenItIsWokenUntilTheTapperHasMoved) {
  TwoSpots bench;
  ASSERT_TRUE(bench.run_until_asked());
  const int before = bench.fired;
  EXPECT_GT(bench.made_safe, 0) << "and what was energised is made safe";
  for (int i = 0; i < 1000; ++i) {
    bench.wake();
    bench.conductor().observe(rig::ContactSensed{moment(20s + i * 1ms)});
    bench.conductor().observe(rig::ListenerChanged{0, i % 2 == 1, moment(20s + i * 1ms)});
    bench.conductor().durable(1'000'000, moment(30s));
  }
  EXPECT_EQ(bench.fired, before);
  EXPECT_FALSE(bench.conductor().ended());
}

TEST(Moves, AMoveThatNobodyAskedForChangesNothing) {
  TwoSpots bench;
  bench.conductor().moved(moment(1s));
  ASSERT_TRUE(bench.run_until_asked());
  EXPECT_EQ(bench.moves, 0);
}

TEST(Moves, AStopWhileTheTapperIsMovedEndsTheRun) {
  TwoSpots bench;
  ASSERT_TRUE(bench.run_until_asked());
  bench.conductor().stop(journal::Ended::Reason::interrupted, "stopped by the user", moment(60s));
  bench.move();
  EXPECT_EQ(bench.fired, 3);
  EXPECT_EQ(bench.conductor().ended()->reason, journal::Ended::Reason::interrupted);
}

TEST(Moves, ReferenceTapsOpenAndCloseEachSpot) {
  TwoSpots bench(
      "[reference]\nevery_trials = 50\ntaps = 2\nstrike_m_s = 0.9\n"
      "transit_tolerance_ms = 5\n");
  ASSERT_TRUE(bench.run_until_asked());
  EXPECT_EQ(bench.blocks, (std::vector<std::uint32_t>{65535, 1, 1, 1, 65535}));
  bench.move();
  EXPECT_FALSE(bench.run_until_asked());
  EXPECT_EQ(bench.blocks,
            (std::vector<std::uint32_t>{65535, 1, 1, 1, 65535, 65535, 0, 0, 0, 65535}));
}

}  // namespace
}  // namespace plexor::run
