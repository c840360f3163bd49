#include "safety/board.hpp"

#include <gtest/gtest.h>

#include <fstream>

#include "base/error.hpp"
#include "lines/line_bench.hpp"

namespace plexor::safety {
namespace {

using namespace std::chrono_literals;

TEST(Board, CarriesNotesBothWays) {
  const lines::VirtualBench bench;  // for its folder
  const std::string file = bench.chip() + "-board";
  Board controller = Board::create(file);
  Board warden = Board::open(file);
  const lines::KernelInstant now{5s};
  controller.beat(now);
  controller.want_power(true);
  controller.acknowledge(3);
  Evidence evidence;
  warden.read_controller(evidence);
  EXPECT_EQ(evidence.heartbeat, 1U);
  EXPECT_EQ(evidence.heartbeat_at, now);
  EXPECT_TRUE(evidence.power_wanted);
  EXPECT_EQ(evidence.acknowledged_trips, 3U);
  WardenDuty duty({.heartbeat_age = 50ms, .longest_pulse = 40ms, .longest_tick = 20ms});
  const Orders orders = duty.tick(evidence);
  evidence.now = now + 1ms;
  evidence.lid_closed = true;
  evidence.coil_on = true;
  warden.publish(evidence, duty, orders);
  const Board::WardenState state = controller.warden();
  EXPECT_EQ(state.at, now + 1ms);
  EXPECT_EQ(state.ticks, 1U);
  EXPECT_EQ(state.loop, Reading::unknown);
  EXPECT_EQ(state.lid, Reading::good);
  EXPECT_EQ(state.coil, Reading::bad);
  EXPECT_FALSE(state.powered);
  EXPECT_EQ(state.standing, WardenCause::stop_loop);
  EXPECT_FALSE(state.tripped);
}

TEST(Board, IsRefusedWhereItIsNone) {
  const lines::VirtualBench bench;
  EXPECT_THROW((void)Board::open(bench.chip()), base::RigFault);
  EXPECT_THROW((void)Board::open(bench.chip() + "-none"), base::RigFault);
  EXPECT_THROW((void)Board::create(bench.chip()), base::RigFault);
}

}  // namespace
}  // namespace plexor::safety
