#pragma once

#include <cstddef>
#include <filesystem>
#include <string>
#include <string_view>

namespace plexor::virtual_rig {

/// The port of a simulated device: a pseudo-terminal, found under a path like a
/// serial port's. What nobody reads in time is lost, as on a wire.
class PseudoPort {
 public:
  /// Makes the terminal and a link to it at `path`, where nothing may be but the
  /// link of a port that is gone. Throws base::RigFault.
  explicit PseudoPort(std::filesystem::path path);
  ~PseudoPort();
  PseudoPort(const PseudoPort&) = delete;
  PseudoPort& operator=(const PseudoPort&) = delete;

  /// One line of text, its end added.
  void write_line(std::string_view text);
  /// Bytes as they are; how many of them went.
  std::size_t write(std::string_view bytes);
  /// What has come so far.
  [[nodiscard]] std::string read();

 private:
  std::filesystem::path path_;
  int master_;
  int slave_;  ///< kept open, so that the terminal lives while nobody listens
};

}  // namespace plexor::virtual_rig
