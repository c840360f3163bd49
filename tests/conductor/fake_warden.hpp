#pragma once

#include "safety/board.hpp"

namespace plexor::run {

/// A warden without lines: does its duty on what a test makes it see, when the
/// test tells it to.
class FakeWarden {
 public:
  /// Lateness is not what most tests are about, and a loaded machine has it.
  static constexpr safety::WardenLimits patient{.heartbeat_age = std::chrono::hours{1},
                                                .longest_pulse = std::chrono::hours{1},
                                                .longest_tick = std::chrono::hours{1}};

  explicit FakeWarden(safety::Board board, const safety::WardenLimits& limits = patient)
      : board_(std::move(board)), duty_(limits) {
    seen.loop_closed = true;
    seen.lid_closed = true;
    seen.coil_on = false;
    seen.controller_lives = true;
  }

  void tick(lines::KernelInstant now) {
    seen.now = now;
    board_.read_controller(seen);
    safety::Orders orders = duty_.tick(seen);
    if (!gives_power) orders = {};
    board_.publish(seen, duty_, orders);
  }

  safety::Evidence seen;
  bool gives_power = true;

 private:
  safety::Board board_;
  safety::WardenDuty duty_;
};

}  // namespace plexor::run
