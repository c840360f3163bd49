#include <utility>

#include "virtual/voices/voices.hpp"
#include "virtual/voices/wire_voice.hpp"

namespace plexor::virtual_rig {

namespace {

std::unique_ptr<Wire> other_end_of(const rig::SocketSettings& socket) {
  const bool is_tcp = socket.transport == rig::Transport::tcp;
  if (socket.serves) {
    return is_tcp ? make_tcp_caller(socket.host, socket.port)
                  : make_udp_caller(socket.host, socket.port);
  }
  return is_tcp ? make_tcp_answerer(socket.host, socket.port)
                : make_udp_answerer(socket.host, socket.port);
}

/// RFC 5424, with a facility and severity of its own (local0, notice) and without a clock.
std::string as_syslog(const std::string& text) { return "<133>1 - - - - - - " + text; }

class SocketVoice final : public WireVoice {
 public:
  SocketVoice(Speaker speaker, rig::Framing framing, std::unique_ptr<Wire> wire)
      : WireVoice(std::move(speaker), std::move(wire)), framing_(framing) {}

 private:
  void send(const std::string& text) override {
    const bool is_syslog = framing_ == rig::Framing::syslog;
    pour((is_syslog ? as_syslog(text) : text) + "\n");
  }

  rig::Framing framing_;
};

}  // namespace

std::unique_ptr<Voice> make_socket_voice(Speaker speaker, const rig::SocketSettings& socket) {
  return std::make_unique<SocketVoice>(std::move(speaker), socket.framing, other_end_of(socket));
}

}  // namespace plexor::virtual_rig
