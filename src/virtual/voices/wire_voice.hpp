#pragma once

#include <memory>
#include <utility>

#include "virtual/voices/text_voice.hpp"
#include "virtual/voices/wire.hpp"

namespace plexor::virtual_rig {

/// A voice over a socket; how a message is wrapped is for who derives.
class WireVoice : public TextVoice {
 public:
  WireVoice(Speaker speaker, std::unique_ptr<Wire> wire)
      : TextVoice(std::move(speaker)), wire_(std::move(wire)) {
    wire_->open();
  }

  void plug_in() override {
    wire_->close();
    wire_->open();
  }
  void unplug() override { wire_->close(); }

  void live(lines::KernelInstant now) override {
    (void)wire_->read();  // whatever is said to it; and it looks for its connection
    TextVoice::live(now);
  }

 protected:
  std::size_t pour(std::string_view bytes) override { return wire_->write(bytes); }

 private:
  std::unique_ptr<Wire> wire_;
};

}  // namespace plexor::virtual_rig
