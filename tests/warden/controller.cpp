#include "warden/controller.hpp"

#include <chrono>
#include <thread>

#include "lines/lines.hpp"
#include "safety/board.hpp"
#include "warden/bench_lines.hpp"

namespace plexor::safety {

using namespace std::chrono_literals;

void live_as_controller(const std::string& chip, const std::string& board_file, Habit habit) {
  Board board = Board::open(board_file);
  const auto lines = lines::request(
      chip, {{.name = "gate", .offset = gate, .direction = lines::Direction::output}});
  board.want_power(true);
  for (int ms = 0;; ms += 5) {
    board.beat(lines::kernel_now());
    const bool on = habit == Habit::stuck_gate || ms % 60 < 15;
    lines->set(0, on ? lines::Level::active : lines::Level::inactive);
    std::this_thread::sleep_for(5ms);
  }
}

}  // namespace plexor::safety
