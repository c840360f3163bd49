#pragma once

#include <algorithm>
#include <fstream>
#include <sstream>
#include <stdexcept>
#include <string>

#include "base/error.hpp"
#include "rig/rig_file.hpp"

namespace plexor::rig {

inline std::string text_of(const std::string& path) {
  std::ifstream in(std::string(PLEXOR_SOURCE_DIR) + "/" + path);
  std::ostringstream text;
  text << in.rdbuf();
  return text.str();
}

/// A rig file that changes with the format only, unlike the one that is shipped.
inline std::string oak_text() { return text_of("tests/fuzz/seeds/rig_fuzz/oak.toml"); }

/// The rig above with one passage changed. The passage must be there.
inline std::string oak_with(const std::string& passage, const std::string& instead) {
  std::string text = oak_text();
  const auto at = text.find(passage);
  if (at == std::string::npos) throw std::logic_error("no passage: " + passage);
  return text.replace(at, passage.size(), instead);
}

/// What a rig of kind lines has beside its devices.
inline constexpr const char* live_tables = R"(
[lines]
chip = "/dev/gpiochip0"
gate = { line = 5, active_low = true }
contact = 6
stop_loop = 0
lid = 1
coil_sense = 2
enable = { line = 3 }
watchdog = 4
[warden]
longest_pulse_ms = 40
heartbeat_age_ms = 50
[outside]
longest_on_ms = 60
one_shot_ms = 100
)";

inline std::string message_of(const std::string& text) {
  try {
    (void)parse_rig(text, "rig.toml");
  } catch (const base::InputError& error) {
    return error.what();
  }
  return "no error";
}

inline unsigned line_of(const std::string& text, const std::string& passage) {
  const auto end = text.begin() + static_cast<std::ptrdiff_t>(text.find(passage));
  return static_cast<unsigned>(std::count(text.begin(), end, '\n')) + 1;
}

inline std::string changed(const std::string& passage, const std::string& instead) {
  return message_of(oak_with(passage, instead));
}

}  // namespace plexor::rig
