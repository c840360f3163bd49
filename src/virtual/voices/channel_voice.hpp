#pragma once

#include <memory>
#include <string>
#include <vector>

#include "rig/ports.hpp"
#include "rig/rig_file.hpp"
#include "virtual/voices/pseudo_port.hpp"

namespace plexor::virtual_rig {

/// How a simulated device streams the codes of its converter in real time: as lines into a
/// pseudo-terminal. What nobody reads in time is lost, line by line.
class ChannelVoice {
 public:
  /// Throws base::RigFault if the terminal can't be made at its path.
  ChannelVoice(const std::string& path, rig::SampleLine line) : port_(path), line_(line) {}

  /// The sender's clock is that of the samples' instants.
  void stream(const rig::SamplesHeard& samples);

 private:
  PseudoPort port_;
  rig::SampleLine line_;
  std::string unsent_{};  ///< the rest of a line of which a part has gone
};

/// The voices of a rig's channels, in their order. Throws base::RigFault for one that comes from a
/// file or a USB identity: only a port's path can be served.
[[nodiscard]] std::vector<std::unique_ptr<ChannelVoice>> make_channel_voices(
    const rig::RigFile& rig);

}  // namespace plexor::virtual_rig
