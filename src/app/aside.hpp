#pragma once

#include <fmt/format.h>

#include <cstdio>
#include <string>
#include <utility>

namespace plexor::app {

/// Says something to whoever watches, on stderr. Nobody may be there to read it: a closed or full
/// stderr ends nothing.
template <typename... Values>
void say_aside(fmt::format_string<Values...> text, Values&&... values) {
  const std::string said = fmt::format(text, std::forward<Values>(values)...);
  (void)std::fputs(said.c_str(), stderr);
}

/// Opens what of stdin, stdout and stderr is closed, on nothing: else the next file that is opened,
/// a journal perhaps, would take its place, and what is said would be written into it. First of
/// all.
void keep_standard_streams();

}  // namespace plexor::app
