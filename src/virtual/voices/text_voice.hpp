#pragma once

#include <cstdint>
#include <map>
#include <string>
#include <string_view>

#include "virtual/simulation.hpp"
#include "virtual/voices/voice.hpp"

namespace plexor::virtual_rig {

/// What all voices share: being dead for a while, and babbling.
class MortalVoice : public Voice {
 public:
  void hang() override { hangs_ = true; }
  void wake() override { hangs_ = false; }
  void babble(lines::KernelInstant now) override;

 protected:
  void die(lines::KernelInstant now, base::Duration boot);
  [[nodiscard]] bool lives(lines::KernelInstant now) const {
    return !hangs_ && now >= boots_until_;
  }
  /// How many reports of a babbling device are due.
  [[nodiscard]] int due_babbles(lines::KernelInstant now);

 private:
  bool hangs_ = false;
  lines::KernelInstant boots_until_;
  lines::KernelInstant babbles_next_;
  lines::KernelInstant babbles_until_;
};

/// Who speaks by a voice, and to which of its listeners.
struct Speaker {
  std::string device;
  std::uint32_t listener = 0;
  VoiceSettings voice;
  base::Duration boot{};
};

/// A voice in messages of text, each of which goes out after the delay of its way.
class TextVoice : public MortalVoice {
 public:
  explicit TextVoice(Speaker speaker);

  void report(const base::Event& event, lines::KernelInstant now) override;
  void live(lines::KernelInstant now) override;
  void reset(lines::KernelInstant now) override;
  void utter_garbage() override;

 protected:
  /// Sends one message; lost where there is nobody to hear it.
  virtual void send(const std::string& text) = 0;
  /// Sends bytes without meaning; how many of them went.
  virtual std::size_t pour(std::string_view bytes) = 0;

  [[nodiscard]] const Speaker& speaker() const { return speaker_; }

 private:
  [[nodiscard]] std::string message(const std::string& event, lines::KernelInstant now) const;
  [[nodiscard]] base::Duration delay();
  void pour_garbage();
  [[nodiscard]] char next_byte();

  Speaker speaker_;
  lines::KernelInstant started_;
  std::multimap<lines::KernelInstant, std::string> due_;
  std::uint32_t delays_drawn_ = 0;
  std::size_t garbage_left_ = 0;
  std::uint32_t noise_ = 1;
};

}  // namespace plexor::virtual_rig
