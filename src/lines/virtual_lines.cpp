#include "lines/virtual_lines.hpp"

#include <fmt/format.h>

#include <utility>

#include "lines/virtual_chip.hpp"

namespace plexor::lines {

namespace {

class VirtualLines final : public Lines {
 public:
  VirtualLines(VirtualChip chip, const std::vector<LineSetting>& settings)
      : Lines(chip.file(), settings), chip_(std::move(chip)), last_(chip_.newest_change()) {
    for (const LineSetting& setting : settings) chip_.require_line(setting.offset);
    take_all();
  }
  ~VirtualLines() override { release(); }
  VirtualLines(const VirtualLines&) = delete;
  VirtualLines& operator=(const VirtualLines&) = delete;

  bool try_set(std::size_t line, Level level) noexcept override {
    const LineSetting* setting = held_output(line);
    if (setting == nullptr) return false;
    drive(*setting, level);
    return true;
  }

  std::optional<Level> try_get(std::size_t line) noexcept override {
    const LineSetting* setting = held(line);
    if (setting == nullptr) return std::nullopt;
    return level_of(*setting, chip_.is_high(setting->offset));
  }

  std::optional<Edge> wait_edge(base::Duration timeout) override {
    require_held();
    const KernelInstant deadline = kernel_now() + timeout;
    while (const auto change = chip_.next_change(last_, deadline)) {
      // Changes that were overwritten before they could be read may have been ours.
      sequence_ += change->number - last_ - 1;
      last_ = change->number;
      for (std::size_t line = 0; line < settings().size(); ++line) {
        const LineSetting& setting = settings()[line];
        if (!setting.edges || setting.offset != change->offset) continue;
        return Edge{line, level_of(setting, change->high), change->at, ++sequence_};
      }
    }
    return std::nullopt;
  }

  void release() noexcept override {
    if (!end_holding()) return;
    for (const LineSetting& setting : settings()) {
      if (setting.direction == Direction::output) drive(setting, setting.at_release);
    }
    let_go(settings().size());
  }

 private:
  static Level level_of(const LineSetting& setting, bool high) {
    return high != setting.active_low ? Level::active : Level::inactive;
  }

  void drive(const LineSetting& setting, Level level) {
    chip_.set_high(setting.offset, (level == Level::active) != setting.active_low);
  }

  void take_all() {
    for (std::size_t line = 0; line < settings().size(); ++line) take(line);
    for (const LineSetting& setting : settings()) {
      if (setting.direction == Direction::output) drive(setting, setting.at_start);
    }
  }

  void take(std::size_t line) {
    const LineSetting& setting = settings()[line];
    const auto holder = chip_.take(setting.offset, setting.direction);
    if (!holder) return;
    let_go(line);
    throw fault(line, fmt::format("held by process {}", *holder));
  }

  /// The first `count` lines.
  void let_go(std::size_t count) noexcept {
    for (std::size_t line = 0; line < count; ++line) chip_.let_go(settings()[line].offset);
  }

  VirtualChip chip_;
  std::uint64_t last_;          ///< number of the newest change looked at
  std::uint64_t sequence_ = 0;  ///< of the edges handed out or lost
};

}  // namespace

std::unique_ptr<Lines> request_virtual(const std::string& file,
                                       const std::vector<LineSetting>& settings) {
  return std::make_unique<VirtualLines>(VirtualChip::open(file), settings);
}

}  // namespace plexor::lines
