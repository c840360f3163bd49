#include <fmt/format.h>
#include <gpiod.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <memory>
#include <system_error>

#include "base/error.hpp"

#include "lines/gpiod_lines.hpp"

// With libgpiod 2: all lines are one request, whose edges the kernel numbers.

namespace plexor::lines {

namespace {

/// Owns a thing of the library's by its own function for freeing it.
template <auto free_function>
struct Freed {
  template <typename Thing>
  void operator()(Thing* thing) const {
    free_function(thing);
  }
};
using Chip = std::unique_ptr<gpiod_chip, Freed<gpiod_chip_close>>;
using LineInfo = std::unique_ptr<gpiod_line_info, Freed<gpiod_line_info_free>>;
using LineSettings = std::unique_ptr<gpiod_line_settings, Freed<gpiod_line_settings_free>>;
using LineConfig = std::unique_ptr<gpiod_line_config, Freed<gpiod_line_config_free>>;
using RequestConfig = std::unique_ptr<gpiod_request_config, Freed<gpiod_request_config_free>>;
using LineRequest = std::unique_ptr<gpiod_line_request, Freed<gpiod_line_request_release>>;
using EdgeBuffer = std::unique_ptr<gpiod_edge_event_buffer, Freed<gpiod_edge_event_buffer_free>>;

/// Things that can only be missing for want of memory, or refuse what this file never asks of them.
void require(bool done) {
  if (!done) throw std::system_error(errno, std::generic_category(), "libgpiod");
}

gpiod_line_value value_of(Level level) {
  return level == Level::active ? GPIOD_LINE_VALUE_ACTIVE : GPIOD_LINE_VALUE_INACTIVE;
}

/// Outputs as they are before they may be driven, or as they begin.
enum class Phase { taken, driven };

gpiod_line_direction direction_of(const LineSetting& setting, Phase phase) {
  if (setting.direction == Direction::input) return GPIOD_LINE_DIRECTION_INPUT;
  return phase == Phase::taken ? GPIOD_LINE_DIRECTION_AS_IS : GPIOD_LINE_DIRECTION_OUTPUT;
}

LineSettings settings_of(const LineSetting& setting, Phase phase) {
  LineSettings made(gpiod_line_settings_new());
  require(made != nullptr);
  gpiod_line_settings_set_direction(made.get(), direction_of(setting, phase));
  gpiod_line_settings_set_active_low(made.get(), setting.active_low);
  gpiod_line_settings_set_output_value(made.get(), value_of(setting.at_start));
  gpiod_line_settings_set_event_clock(made.get(), GPIOD_LINE_CLOCK_MONOTONIC);
  gpiod_line_settings_set_edge_detection(
      made.get(), setting.edges ? GPIOD_LINE_EDGE_BOTH : GPIOD_LINE_EDGE_NONE);
  return made;
}

LineConfig config_of(const std::vector<LineSetting>& settings, Phase phase) {
  LineConfig config(gpiod_line_config_new());
  require(config != nullptr);
  for (const LineSetting& setting : settings) {
    const LineSettings made = settings_of(setting, phase);
    require(gpiod_line_config_add_line_settings(config.get(), &setting.offset, 1, made.get()) == 0);
  }
  return config;
}

/// With what others are told about who holds a line.
RequestConfig named_request() {
  RequestConfig config(gpiod_request_config_new());
  require(config != nullptr);
  gpiod_request_config_set_consumer(config.get(), fmt::format("plexor {}", getpid()).c_str());
  return config;
}

class GpiodLines final : public Lines {
 public:
  GpiodLines(const std::string& chip, const std::vector<LineSetting>& settings)
      : Lines(chip, settings),
        edge_(gpiod_edge_event_buffer_new(1)),
        chip_(gpiod_chip_open(chip.c_str())) {
    if (!chip_) throw base::RigFault("GPIO chip " + chip + ": " + base::last_reason());
    require(edge_ != nullptr);
    take_all();
    begin_to_drive();
  }
  ~GpiodLines() override { release(); }
  GpiodLines(const GpiodLines&) = delete;
  GpiodLines& operator=(const GpiodLines&) = delete;

  bool try_set(std::size_t line, Level level) noexcept override {
    const LineSetting* setting = held_output(line);
    return setting != nullptr && drive(*setting, level);
  }

  std::optional<Level> try_get(std::size_t line) noexcept override {
    const LineSetting* setting = held(line);
    if (setting == nullptr) return std::nullopt;
    switch (gpiod_line_request_get_value(request_.get(), setting->offset)) {
      case GPIOD_LINE_VALUE_INACTIVE: return Level::inactive;
      case GPIOD_LINE_VALUE_ACTIVE: return Level::active;
      default: return std::nullopt;
    }
  }

  std::optional<Edge> wait_edge(base::Duration timeout) override {
    require_held();
    const KernelInstant deadline = kernel_now() + timeout;
    for (;;) {
      const base::Duration left = std::max(deadline - kernel_now(), base::Duration::zero());
      const int found = gpiod_line_request_wait_edge_events(request_.get(), left.count());
      if (found > 0) return read_edge();
      if (found < 0 && errno != EINTR) edges_fail();
      if (left == base::Duration::zero()) return std::nullopt;
    }
  }

  void release() noexcept override {
    if (!end_holding()) return;
    for (const LineSetting& setting : settings()) {
      if (setting.direction == Direction::output) drive(setting, setting.at_release);
    }
    request_.reset();
  }

 private:
  /// Outputs are not driven yet: a refusal of another line must leave them as they are.
  void take_all() {
    const RequestConfig name = named_request();
    const LineConfig config = config_of(settings(), Phase::taken);
    request_.reset(gpiod_chip_request_lines(chip_.get(), name.get(), config.get()));
    if (!request_) refuse();
  }

  /// Says which line it was: the kernel only tells that it was one of them.
  [[noreturn]] void refuse() const {
    const std::string reason = base::last_reason();
    for (std::size_t line = 0; line < settings().size(); ++line) {
      const LineInfo info(gpiod_chip_get_line_info(chip_.get(), settings()[line].offset));
      if (!info) throw fault(line, "not on this chip: " + base::last_reason());
      if (!gpiod_line_info_is_used(info.get())) continue;
      const char* holder = gpiod_line_info_get_consumer(info.get());
      throw fault(line, holder == nullptr ? "held by somebody else"
                                          : fmt::format("held by \"{}\"", holder));
    }
    throw base::RigFault("lines of " + chip_file() + ": " + reason);
  }

  void begin_to_drive() {
    const LineConfig config = config_of(settings(), Phase::driven);
    if (gpiod_line_request_reconfigure_lines(request_.get(), config.get()) == 0) return;
    const std::string reason = base::last_reason();
    release();
    throw base::RigFault("outputs of " + chip_file() + " can't be driven: " + reason);
  }

  bool drive(const LineSetting& setting, Level level) noexcept {
    return gpiod_line_request_set_value(request_.get(), setting.offset, value_of(level)) == 0;
  }

  Edge read_edge() {
    if (gpiod_line_request_read_edge_events(request_.get(), edge_.get(), 1) != 1) edges_fail();
    gpiod_edge_event* event = gpiod_edge_event_buffer_get_event(edge_.get(), 0);
    const bool rising = gpiod_edge_event_get_event_type(event) == GPIOD_EDGE_EVENT_RISING_EDGE;
    const auto stamp = static_cast<base::Duration::rep>(gpiod_edge_event_get_timestamp_ns(event));
    return {line_at(gpiod_edge_event_get_line_offset(event)),
            rising ? Level::active : Level::inactive, KernelInstant{base::Duration{stamp}},
            gpiod_edge_event_get_global_seqno(event)};
  }

  std::size_t line_at(std::uint32_t offset) const {
    const auto found = std::ranges::find(settings(), offset, &LineSetting::offset);
    return static_cast<std::size_t>(found - settings().begin());
  }

  [[noreturn]] void edges_fail() const {
    throw base::RigFault("edges of " + chip_file() + ": " + base::last_reason());
  }

  EdgeBuffer edge_;
  Chip chip_;
  LineRequest request_;
};

}  // namespace

std::unique_ptr<Lines> request_gpiod(const std::string& chip,
                                     const std::vector<LineSetting>& settings) {
  return std::make_unique<GpiodLines>(chip, settings);
}

}  // namespace plexor::lines
