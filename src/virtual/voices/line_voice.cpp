#include <algorithm>
#include <deque>
#include <utility>

#include "virtual/voices/voices.hpp"

namespace plexor::virtual_rig {

namespace {

using lines::KernelInstant;
using namespace std::chrono_literals;

class LineVoice final : public MortalVoice {
 public:
  LineVoice(lines::VirtualChip chip, rig::LineSettings line, base::Duration boot)
      : chip_(std::move(chip)), line_(std::move(line)), boot_(boot) {
    show(false);
  }

  void plug_in() override { plugged_in_ = true; }
  void unplug() override {
    plugged_in_ = false;
    show(false);
  }

  void report(const base::Event& event, KernelInstant now) override {
    const auto known = std::find(line_.events.begin(), line_.events.end(), event.name);
    if (!lives(now) || known == line_.events.end()) return;
    const auto pulses = known - line_.events.begin() + 1;
    const KernelInstant first =
        changes_.empty() ? now : std::max(now, changes_.back().at + between());
    for (std::int64_t i = 0; i < pulses; ++i) {
      changes_.push_back({first + i * between(), true});
      changes_.push_back({first + i * between() + length(), false});
    }
  }

  void live(KernelInstant now) override {
    for (int due = due_babbles(now); due > 0; --due) {
      show(true);
      show(false);
    }
    while (!changes_.empty() && changes_.front().at <= now) {
      show(lives(now) && changes_.front().active);
      changes_.pop_front();
    }
  }

  void reset(KernelInstant now) override {
    changes_.clear();
    show(false);
    die(now, boot_);
  }

  void utter_garbage() override {}  // a line has no bytes

 private:
  struct Change {
    KernelInstant at;
    bool active;
  };

  [[nodiscard]] base::Duration length() const {
    return std::max<base::Duration>(5ms, 2 * line_.debounce);
  }
  /// From one pulse to the next: well within the gap that ends a count.
  [[nodiscard]] base::Duration between() const {
    return std::max<base::Duration>(line_.pulse_gap / 2, length() + line_.debounce + 2ms);
  }
  void show(bool active) {
    chip_.drive(line_.wire.offset, (active && plugged_in_) != line_.wire.active_low);
  }

  lines::VirtualChip chip_;
  rig::LineSettings line_;
  base::Duration boot_;
  bool plugged_in_ = true;
  std::deque<Change> changes_;
};

}  // namespace

std::unique_ptr<Voice> make_line_voice(const lines::VirtualChip& chip,
                                       const rig::LineSettings& line, base::Duration boot) {
  return std::make_unique<LineVoice>(chip, line, boot);
}

}  // namespace plexor::virtual_rig
