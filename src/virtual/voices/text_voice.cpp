#include "virtual/voices/text_voice.hpp"

#include <algorithm>
#include <utility>

#include "base/random.hpp"

namespace plexor::virtual_rig {

using lines::KernelInstant;
using namespace std::chrono_literals;

namespace {

constexpr base::Duration babbling = 2s;
constexpr base::Duration between_babbles = 100us;
constexpr std::size_t much_garbage = 10'000'000;

}  // namespace

void MortalVoice::babble(KernelInstant now) {
  babbles_next_ = now;
  babbles_until_ = now + babbling;
}

void MortalVoice::die(KernelInstant now, base::Duration boot) {
  hangs_ = false;
  boots_until_ = now + boot;
  babbles_next_ = babbles_until_ = now;
}

int MortalVoice::due_babbles(KernelInstant now) {
  int due = 0;
  const KernelInstant until = std::min(now, babbles_until_);
  for (; babbles_next_ < until; babbles_next_ += between_babbles) ++due;
  return due;
}

TextVoice::TextVoice(Speaker speaker)
    : speaker_(std::move(speaker)), started_(lines::kernel_now()) {}

void TextVoice::report(const base::Event& event, KernelInstant now) {
  if (lives(now)) due_.emplace(now + delay(), message(event.name, now));
}

void TextVoice::live(KernelInstant now) {
  for (int due = due_babbles(now); due > 0; --due) send(message("babble", now));
  while (!due_.empty() && due_.begin()->first <= now) {
    send(due_.begin()->second);
    due_.erase(due_.begin());
  }
  pour_garbage();
}

void TextVoice::reset(KernelInstant now) {
  garbage_left_ = 0;
  due_.clear();
  started_ = now;
  die(now, speaker_.boot);
}

void TextVoice::utter_garbage() { garbage_left_ = much_garbage; }

std::string TextVoice::message(const std::string& event, KernelInstant now) const {
  return spoken(speaker_.voice.says, speaker_.device, event, now - started_);
}

base::Duration TextVoice::delay() {
  const base::DrawKey key{.block = speaker_.listener, .trial = ++delays_drawn_};
  return base::Duration{base::uniform_between(key, speaker_.voice.shortest_delay.count(),
                                              speaker_.voice.longest_delay.count())};
}

void TextVoice::pour_garbage() {
  constexpr std::size_t most_at_once = 65'536;
  std::size_t now_left = std::min(garbage_left_, most_at_once);
  while (now_left > 0) {
    std::string piece(std::min<std::size_t>(now_left, 4096), ' ');
    for (char& byte : piece) byte = next_byte();
    const std::size_t written = pour(piece);
    if (written == 0) return;
    garbage_left_ -= written;
    now_left -= written;
  }
}

char TextVoice::next_byte() {
  noise_ = noise_ * 1'664'525U + 1'013'904'223U;
  return static_cast<char>(noise_ >> 24U);
}

}  // namespace plexor::virtual_rig
