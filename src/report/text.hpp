#pragma once

#include <string>
#include <string_view>

// Names and texts come from outside: a device may report any bytes. Every output passes them
// through here before it adds its own escapes.

namespace plexor::report {

/// `text` as valid UTF-8 that cannot steer a terminal, an XML reader or the direction of writing:
/// control characters (but line feed and tab), direction overrides, noncharacters and broken bytes
/// each become U+FFFD. Carriage returns before a line feed are dropped.
[[nodiscard]] std::string printable(std::string_view text);

/// printable(), on one line: line feeds and tabs become spaces.
[[nodiscard]] std::string printable_line(std::string_view text);

}  // namespace plexor::report
