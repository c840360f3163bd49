#pragma once

#include <stdexcept>
#include <string>

namespace plexor::base {

/// Where in a text something was found. Lines and columns count from 1; 0 means unknown.
struct Place {
  std::string file;
  unsigned line = 0;
  unsigned column = 0;
};

/// The user gave something that can't be used: a file, an option, a combination.
/// Exit code 2. One message: where, what was found, what was expected, what to do.
class InputError : public std::runtime_error {
 public:
  using std::runtime_error::runtime_error;

  /// "scenario.toml:12:3: found X; expected Y; do Z". `remedy` may be empty.
  InputError(const Place& place, const std::string& found, const std::string& expected,
             const std::string& remedy = {});
};

/// The rig, the host or a limit forbids going on. The actuator is made safe
/// first, then this speaks. Exit code 3.
class RigFault : public std::runtime_error {
 public:
  using std::runtime_error::runtime_error;
};

/// What errno says of the system call that has just failed, in words.
[[nodiscard]] std::string last_reason();

/// "scenario.toml:12:3" with unknown parts left out.
[[nodiscard]] std::string to_text(const Place& place);

}  // namespace plexor::base
