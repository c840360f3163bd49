#pragma once

#include <memory>

#include "rig/listener_settings.hpp"
#include "virtual/voices/text_voice.hpp"

namespace plexor::virtual_rig {

// A voice for each kind of listener. All throw base::RigFault if they can't be made.

/// On a pseudo-terminal: says its banner and answers queries too.
[[nodiscard]] std::unique_ptr<Voice> make_port_voice(Speaker speaker,
                                                     const rig::SerialSettings& serial,
                                                     const SpeechSettings& speech);
/// By pulses on a line of the chip.
[[nodiscard]] std::unique_ptr<Voice> make_line_voice(const lines::VirtualChip& chip,
                                                     const rig::LineSettings& line,
                                                     base::Duration boot);
/// Publishes to the broker that the listener hears, as the user that it is.
[[nodiscard]] std::unique_ptr<Voice> make_mqtt_voice(Speaker speaker,
                                                     const rig::MqttSettings& mqtt);
/// The other end of a TCP or UDP listener.
[[nodiscard]] std::unique_ptr<Voice> make_socket_voice(Speaker speaker,
                                                       const rig::SocketSettings& socket);
/// Posts each message to a web hook, over one connection.
[[nodiscard]] std::unique_ptr<Voice> make_web_hook_voice(Speaker speaker,
                                                         const rig::WebHookSettings& hook);

}  // namespace plexor::virtual_rig
