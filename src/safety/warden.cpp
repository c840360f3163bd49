#include "safety/warden.hpp"

#include <poll.h>
#include <sys/syscall.h>
#include <unistd.h>

#include "base/error.hpp"
#include "lines/descriptor.hpp"
#include "safety/board.hpp"

namespace plexor::safety {

namespace {

/// A process, by a descriptor that no other process can be mistaken for.
class Watched {
 public:
  explicit Watched(pid_t process)
      : descriptor_(static_cast<int>(syscall(SYS_pidfd_open, process, 0))) {
    if (!descriptor_.is_open()) {
      throw base::RigFault("warden: controller process " + std::to_string(process) + ": " +
                           base::last_reason());
    }
  }

  /// A descriptor that can't be polled says nothing, and counts as ended.
  [[nodiscard]] bool lives() const {
    pollfd ended{descriptor_.get(), POLLIN, 0};
    return poll(&ended, 1, 0) == 0;
  }

 private:
  lines::Descriptor descriptor_;
};

// Places among the lines asked for.
constexpr std::size_t loop_line = 0;
constexpr std::size_t lid_line = 1;
constexpr std::size_t coil_line = 2;
constexpr std::size_t enable_line = 3;
constexpr std::size_t watchdog_line = 4;

lines::LineSetting line(const char* name, const Wire& wire, lines::Direction direction) {
  return {
      .name = name, .offset = wire.offset, .direction = direction, .active_low = wire.active_low};
}

std::vector<lines::LineSetting> line_settings(const Wiring& wiring) {
  using lines::Direction;
  return {line("stop loop", wiring.stop_loop, Direction::input),
          line("lid", wiring.lid, Direction::input),
          line("coil sense", wiring.coil_sense, Direction::input),
          line("enable", wiring.enable, Direction::output),
          line("watchdog", wiring.watchdog, Direction::output)};
}

/// Nothing where the line could not be read: the duty takes that for the worst.
std::optional<bool> read(lines::Lines& lines, std::size_t line) {
  const auto level = lines.try_get(line);
  if (!level) return std::nullopt;
  return *level == lines::Level::active;
}

lines::Level level(bool active) { return active ? lines::Level::active : lines::Level::inactive; }

}  // namespace

void serve_as_warden(const WardenSetting& setting, const std::function<bool()>& stop,
                     const std::function<void()>& when_held) {
  const Watched controller(setting.controller);
  Board board = Board::open(setting.board);
  const auto lines = lines::request(setting.wiring.chip, line_settings(setting.wiring));
  when_held();
  WardenDuty duty(setting.limits);
  bool watchdog = false;
  Evidence evidence;
  do {
    evidence.loop_closed = read(*lines, loop_line);
    evidence.lid_closed = read(*lines, lid_line);
    evidence.coil_on = read(*lines, coil_line);
    evidence.controller_lives = controller.lives();
    board.read_controller(evidence);
    evidence.now = lines::kernel_now();  // last, so that no note is from its future
    const Orders orders = duty.tick(evidence);
    // An enable line that does not obey is tried again at the next tick; until then nothing is fed.
    const bool obeyed = lines->try_set(enable_line, level(orders.enable));
    if (orders.feed_watchdog && obeyed) {
      watchdog = !watchdog;
      (void)lines->try_set(watchdog_line, level(watchdog));
    }
    board.publish(evidence, duty, orders);
    lines::kernel_nap(setting.tick);
  } while (evidence.controller_lives && !stop());
}

}  // namespace plexor::safety
