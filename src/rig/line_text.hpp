#pragma once

#include <cstddef>
#include <string>
#include <string_view>

namespace plexor::rig {

/// ASCII's digits alone, whatever the locale.
[[nodiscard]] constexpr bool is_digit(char c) { return c >= '0' && c <= '9'; }

/// What a device sent as a text for people: valid UTF-8, with U+FFFD for each bad
/// sequence and each control character but the tab.
[[nodiscard]] std::string printable(std::string_view bytes);

/// The first characters of a valid UTF-8 text, none cut in two.
[[nodiscard]] std::string_view cut(std::string_view utf8, std::size_t most_bytes);

}  // namespace plexor::rig
