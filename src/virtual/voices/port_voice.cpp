#include <optional>
#include <utility>

#include "rig/line_assembler.hpp"
#include "virtual/voices/pseudo_port.hpp"
#include "virtual/voices/voices.hpp"

namespace plexor::virtual_rig {

namespace {

using lines::KernelInstant;

class PortVoice final : public TextVoice {
 public:
  PortVoice(Speaker speaker, std::string path, SpeechSettings speech)
      : TextVoice(std::move(speaker)),
        path_(std::move(path)),
        speech_(std::move(speech)),
        heard_([this](std::string_view line) { answer(line); }) {
    plug_in();
  }

  void plug_in() override {
    port_.reset();
    port_.emplace(path_);
  }
  void unplug() override { port_.reset(); }

  void live(KernelInstant now) override {
    if (!port_) return;
    now_ = now;
    heard_.feed(port_->read());
    TextVoice::live(now);
  }

  void reset(KernelInstant now) override {
    if (!speech_.banner.empty()) send(speech_.banner);
    TextVoice::reset(now);
  }

 private:
  void answer(std::string_view line) {
    if (!lives(now_)) return;
    for (const auto& [query, reply] : speech_.answers) {
      if (line == query) send(reply);
    }
  }

  void send(const std::string& text) override {
    if (port_) port_->write_line(text);
  }
  std::size_t pour(std::string_view bytes) override { return port_ ? port_->write(bytes) : 0; }

  std::string path_;
  SpeechSettings speech_;
  KernelInstant now_;
  rig::LineAssembler heard_;
  std::optional<PseudoPort> port_;
};

}  // namespace

std::unique_ptr<Voice> make_port_voice(Speaker speaker, const rig::SerialSettings& serial,
                                       const SpeechSettings& speech) {
  return std::make_unique<PortVoice>(std::move(speaker), serial.port, speech);
}

}  // namespace plexor::virtual_rig
