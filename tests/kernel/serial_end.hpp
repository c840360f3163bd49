#pragma once

#include <termios.h>

#include <functional>
#include <string>
#include <string_view>

#include "rig/line_assembler.hpp"

namespace plexor {

/// The far end of a serial cable, as a device has it. Throws std::runtime_error
/// where the port does not do what it is for.
class SerialEnd {
 public:
  using Hearer = std::function<void(std::string_view line)>;

  /// `hear`: each line that comes in, while somebody looks.
  SerialEnd(const std::string& port, const Hearer& hear);
  ~SerialEnd();
  SerialEnd(const SerialEnd&) = delete;
  SerialEnd& operator=(const SerialEnd&) = delete;

  /// Takes what has come in.
  void look();
  /// Sends a line; it has left when this returns.
  void say(std::string_view line);

 private:
  int descriptor_;
  rig::LineAssembler assembler_;
};

/// How a port is set, whoever has set it.
[[nodiscard]] termios settings_of(const std::string& port);

}  // namespace plexor
