#include "base/error.hpp"

#include <fmt/format.h>

namespace plexor::base {

std::string to_text(const Place& place) {
  std::string text = place.file;
  if (place.line != 0) text += fmt::format(":{}", place.line);
  if (place.line != 0 && place.column != 0) text += fmt::format(":{}", place.column);
  return text;
}

InputError::InputError(const Place& place, const std::string& found, const std::string& expected,
                       const std::string& remedy)
    : std::runtime_error(fmt::format("{}: found {}; expected {}{}{}", to_text(place), found,
                                     expected, remedy.empty() ? "" : "; ", remedy)) {}

}  // namespace plexor::base
