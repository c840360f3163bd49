#include "base/error.hpp"

#include <fmt/format.h>

#include <cerrno>
#include <system_error>

namespace plexor::base {

namespace {

/// What a user gave is shown, but can't steer the terminal.
std::string printable(std::string text) {
  for (char& c : text) {
    if (static_cast<unsigned char>(c) < 0x20 || c == 0x7f) c = '?';
  }
  return text;
}

}  // namespace

std::string last_reason() { return std::generic_category().message(errno); }

std::string to_text(const Place& place) {
  std::string text = place.file;
  if (place.line != 0) text += fmt::format(":{}", place.line);
  if (place.line != 0 && place.column != 0) text += fmt::format(":{}", place.column);
  return text;
}

InputError::InputError(const Place& place, const std::string& found, const std::string& expected,
                       const std::string& remedy)
    : std::runtime_error(
          printable(fmt::format("{}: found {}; expected {}{}{}", to_text(place), found, expected,
                                remedy.empty() ? "" : "; ", remedy))) {}

}  // namespace plexor::base
