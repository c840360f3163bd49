#pragma once

#include <cstdint>
#include <string>

namespace plexor::rig {

/// What a check of the rig or its host found, for people (`plexor preflight`).
struct Finding {
  enum class State : std::uint8_t {
    good,
    warning,  ///< works, at a cost that is named
    bad,      ///< a run would be refused, or could not be believed
  };
  State state = State::good;
  std::string subject;   ///< what was checked: "port of panel"
  std::string found;     ///< "usable by this user, 115200 baud"
  std::string remedy{};  ///< what to do; empty where nothing is to be done
};

}  // namespace plexor::rig
