#include "virtual/voice.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <deque>
#include <optional>
#include <string>
#include <utility>

#include "rig/line_assembler.hpp"
#include "virtual/pseudo_port.hpp"

namespace plexor::virtual_rig {

namespace {

using lines::KernelInstant;
using namespace std::chrono_literals;

constexpr base::Duration babbling = 2s;
constexpr base::Duration between_babbles = 100us;
constexpr std::size_t much_garbage = 10'000'000;

void replace_all(std::string& text, const std::string& what, const std::string& by) {
  for (auto at = text.find(what); at != std::string::npos; at = text.find(what, at + by.size())) {
    text.replace(at, what.size(), by);
  }
}

/// What all voices share: being dead for a while.
class MortalVoice : public Voice {
 public:
  void hang() override { hangs_ = true; }
  void wake() override { hangs_ = false; }
  void babble(KernelInstant now) override {
    babbles_next_ = now;
    babbles_until_ = now + babbling;
  }

 protected:
  void die(KernelInstant now, base::Duration boot) {
    hangs_ = false;
    boots_until_ = now + boot;
    babbles_next_ = babbles_until_ = now;
  }
  [[nodiscard]] bool lives(KernelInstant now) const { return !hangs_ && now >= boots_until_; }
  /// How many reports of a babbling device are due.
  [[nodiscard]] int due_babbles(KernelInstant now) {
    int due = 0;
    const KernelInstant until = std::min(now, babbles_until_);
    for (; babbles_next_ < until; babbles_next_ += between_babbles) ++due;
    return due;
  }

 private:
  bool hangs_ = false;
  KernelInstant boots_until_;
  KernelInstant babbles_next_;
  KernelInstant babbles_until_;
};

/// Speaks in lines of text on a pseudo-terminal.
class PortVoice final : public MortalVoice {
 public:
  PortVoice(std::string device, std::string port, VoiceSettings settings)
      : device_(std::move(device)),
        path_(std::move(port)),
        settings_(std::move(settings)),
        started_(lines::kernel_now()),
        heard_([this](std::string_view line) { answer(line); }) {
    plug_in();
  }

  void plug_in() override {
    port_.reset();
    port_.emplace(path_);
  }
  void unplug() override { port_.reset(); }

  void report(const base::Event& event, KernelInstant now) override {
    if (lives(now)) say(event.name, now);
  }

  void live(KernelInstant now) override {
    if (!port_) return;
    now_ = now;
    heard_.feed(port_->read());
    for (int due = due_babbles(now); due > 0; --due) say("babble", now);
    pour_garbage();
  }

  void reset(KernelInstant now) override {
    garbage_left_ = 0;
    started_ = now;
    if (!settings_.banner.empty()) write(settings_.banner);
    die(now, settings_.boot);
  }

  void utter_garbage() override { garbage_left_ = much_garbage; }

 private:
  void answer(std::string_view line) {
    if (!lives(now_)) return;
    for (const auto& [query, reply] : settings_.answers) {
      if (line == query) write(reply);
    }
  }

  void say(const std::string& event, KernelInstant now) {
    write(spoken(settings_.says, device_, event, now - started_));
  }

  void write(const std::string& line) {
    if (port_) port_->write_line(line);
  }

  void pour_garbage() {
    constexpr std::size_t most_at_once = 65'536;
    std::size_t now_left = std::min(garbage_left_, most_at_once);
    while (now_left > 0) {
      std::string piece(std::min<std::size_t>(now_left, 4096), ' ');
      for (char& byte : piece) byte = next_byte();
      const std::size_t written = port_->write(piece);
      if (written == 0) return;
      garbage_left_ -= written;
      now_left -= written;
    }
  }

  char next_byte() {
    noise_ = noise_ * 1'664'525U + 1'013'904'223U;
    return static_cast<char>(noise_ >> 24U);
  }

  std::string device_;
  std::string path_;
  VoiceSettings settings_;
  KernelInstant started_;
  KernelInstant now_;
  rig::LineAssembler heard_;
  std::optional<PseudoPort> port_;
  std::size_t garbage_left_ = 0;
  std::uint32_t noise_ = 1;
};

/// Speaks by pulses on a line of the chip.
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

std::string spoken(const std::string& says, const std::string& device, const std::string& event,
                   base::Duration device_time) {
  std::string line = says;
  replace_all(line, "{device}", device);
  replace_all(line, "{device_time_ms}", fmt::format("{:.0f}", base::to_ms(device_time)));
  replace_all(line, "{event}", event);
  return line;
}

std::vector<std::unique_ptr<Voice>> make_voices(const rig::RigFile& rig,
                                                const Simulation& simulation,
                                                const lines::VirtualChip& chip) {
  std::vector<std::unique_ptr<Voice>> voices;
  for (std::size_t i = 0; i < rig.devices.size(); ++i) {
    const rig::ListenerSettings& listener = rig.devices[i].listener.value();
    const VoiceSettings& settings = simulation.voices.at(i);
    if (const auto* line = std::get_if<rig::LineSettings>(&listener)) {
      voices.push_back(std::make_unique<LineVoice>(chip, *line, settings.boot));
    } else {
      voices.push_back(std::make_unique<PortVoice>(
          rig.devices[i].name, std::get<rig::SerialSettings>(listener).port, settings));
    }
  }
  return voices;
}

}  // namespace plexor::virtual_rig
