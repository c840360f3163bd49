#include <fmt/format.h>
#include <gpiod.h>
#include <poll.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <memory>

#include "base/error.hpp"

#include "lines/gpiod_lines.hpp"

// With libgpiod 1.6: each line is requested by itself, so that any can be read,
// driven and waited for by itself. This kernel interface does not number edges;
// they are counted here, and a loss is seen only where an edge leads to the level
// that the line had already.

namespace plexor::lines {

namespace {

struct ChipCloser {
  void operator()(gpiod_chip* chip) const { gpiod_chip_close(chip); }
};

int value_of(Level level) { return level == Level::active ? 1 : 0; }

KernelInstant instant_of(const timespec& stamp) {
  return KernelInstant{std::chrono::seconds{stamp.tv_sec} + base::Duration{stamp.tv_nsec}};
}

timespec to_timespec(base::Duration length) {
  const auto seconds = std::chrono::duration_cast<std::chrono::seconds>(length);
  return {seconds.count(), static_cast<long>((length - seconds).count())};
}

class GpiodLines final : public Lines {
 public:
  GpiodLines(const std::string& chip, const std::vector<LineSetting>& settings)
      : Lines(chip, settings),
        consumer_(fmt::format("plexor {}", getpid())),
        chip_(gpiod_chip_open(chip.c_str())),
        taken_(settings.size()) {
    if (!chip_) throw base::RigFault("GPIO chip " + chip + ": " + base::last_reason());
    for (std::size_t line = 0; line < taken_.size(); ++line) take(line);
    for (std::size_t line = 0; line < taken_.size(); ++line) begin_to_drive(line);
  }
  ~GpiodLines() override { release(); }
  GpiodLines(const GpiodLines&) = delete;
  GpiodLines& operator=(const GpiodLines&) = delete;

  bool try_set(std::size_t line, Level level) noexcept override {
    return held_output(line) != nullptr && drive(line, level);
  }

  std::optional<Level> try_get(std::size_t line) noexcept override {
    if (held(line) == nullptr) return std::nullopt;
    const int value = gpiod_line_get_value(taken_[line].line);
    if (value < 0) return std::nullopt;
    return value == 0 ? Level::inactive : Level::active;
  }

  std::optional<Edge> wait_edge(base::Duration timeout) override {
    require_held();
    const KernelInstant deadline = kernel_now() + timeout;
    for (;;) {
      const base::Duration left = std::max(deadline - kernel_now(), base::Duration::zero());
      fetch_edges(earliest() == nullptr ? left : base::Duration::zero());
      if (Taken* taken = earliest()) return hand_out(*taken);
      if (left == base::Duration::zero()) return std::nullopt;
    }
  }

  void release() noexcept override {
    if (!end_holding()) return;
    for (std::size_t line = 0; line < taken_.size(); ++line) {
      if (settings()[line].direction == Direction::output) drive(line, settings()[line].at_release);
    }
    chip_.reset();  // lets its lines go
  }

 private:
  struct Taken {
    gpiod_line* line = nullptr;  ///< the chip's
    std::optional<Edge> waiting;
    std::optional<Level> last;  ///< after the newest edge
  };

  /// Outputs are not driven yet: a refusal of another line must leave them as they are.
  void take(std::size_t line) {
    const LineSetting& setting = settings()[line];
    Taken& taken = taken_[line];
    taken.line = gpiod_chip_get_line(chip_.get(), setting.offset);
    if (taken.line == nullptr) throw fault(line, "not on this chip: " + base::last_reason());
    const gpiod_line_request_config config{
        consumer_.c_str(), request_type(setting),
        setting.active_low ? GPIOD_LINE_REQUEST_FLAG_ACTIVE_LOW : 0};
    if (gpiod_line_request(taken.line, &config, 0) != 0) throw fault(line, refusal(taken.line));
    const int descriptor = setting.edges ? gpiod_line_event_get_fd(taken.line) : -1;
    polled_.push_back({descriptor, POLLIN, 0});
  }

  static int request_type(const LineSetting& setting) {
    if (setting.direction == Direction::output) return GPIOD_LINE_REQUEST_DIRECTION_AS_IS;
    return setting.edges ? GPIOD_LINE_REQUEST_EVENT_BOTH_EDGES : GPIOD_LINE_REQUEST_DIRECTION_INPUT;
  }

  static std::string refusal(gpiod_line* line) {
    if (errno != EBUSY) return base::last_reason();
    const char* holder = gpiod_line_update(line) == 0 ? gpiod_line_consumer(line) : nullptr;
    return holder == nullptr ? "held by somebody else" : fmt::format("held by \"{}\"", holder);
  }

  void begin_to_drive(std::size_t line) {
    const LineSetting& setting = settings()[line];
    if (setting.direction != Direction::output) return;
    if (gpiod_line_set_direction_output(taken_[line].line, value_of(setting.at_start)) == 0) return;
    const std::string reason = base::last_reason();
    release();
    throw fault(line, "can't be driven: " + reason);
  }

  bool drive(std::size_t line, Level level) noexcept {
    return gpiod_line_set_value(taken_[line].line, value_of(level)) == 0;
  }

  /// At most one of each line; the kernel keeps the others in their order.
  void fetch_edges(base::Duration timeout) {
    const timespec time = to_timespec(timeout);
    const int ready = ppoll(polled_.data(), polled_.size(), &time, nullptr);
    if (ready < 0 && errno != EINTR)
      throw base::RigFault("edges of " + chip_file() + ": " + base::last_reason());
    if (ready <= 0) return;
    for (std::size_t line = 0; line < taken_.size(); ++line) {
      if (polled_[line].revents != 0 && !taken_[line].waiting) fetch_edge(line);
    }
  }

  void fetch_edge(std::size_t line) {
    gpiod_line_event event{};
    if (gpiod_line_event_read(taken_[line].line, &event) != 0) {
      throw fault(line, "no edges: " + base::last_reason());
    }
    const bool rising = event.event_type == GPIOD_LINE_EVENT_RISING_EDGE;
    taken_[line].waiting =
        Edge{line, rising ? Level::active : Level::inactive, instant_of(event.ts)};
  }

  Taken* earliest() {
    Taken* first = nullptr;
    for (Taken& taken : taken_) {
      if (taken.waiting && (first == nullptr || taken.waiting->at < first->waiting->at)) {
        first = &taken;
      }
    }
    return first;
  }

  Edge hand_out(Taken& taken) {
    Edge edge = *std::exchange(taken.waiting, std::nullopt);
    const bool one_was_lost = taken.last == edge.level;
    taken.last = edge.level;
    sequence_ += one_was_lost ? 2 : 1;
    edge.sequence = sequence_;
    return edge;
  }

  std::string consumer_;  ///< what others are told about who holds a line
  std::unique_ptr<gpiod_chip, ChipCloser> chip_;
  std::vector<Taken> taken_;
  std::vector<pollfd> polled_;  ///< by line; those without edges are not looked at
  std::uint64_t sequence_ = 0;
};

}  // namespace

std::unique_ptr<Lines> request_gpiod(const std::string& chip,
                                     const std::vector<LineSetting>& settings) {
  return std::make_unique<GpiodLines>(chip, settings);
}

}  // namespace plexor::lines
