#pragma once

#include <string>
#include <string_view>
#include <vector>

// Text in the columns of a terminal.

namespace plexor::report {

/// `text` with spaces up to `width` columns; on its left if it is to stand on the right.
[[nodiscard]] std::string padded(std::string_view text, std::size_t width, bool right = false);

/// `text` in lines of at most `width` columns, each begun with `indent` spaces.
[[nodiscard]] std::string wrapped(std::string_view text, std::size_t indent, int width);

/// Rows of one length: left-aligned first column, the others to the right.
[[nodiscard]] std::string table(const std::vector<std::vector<std::string>>& rows);

}  // namespace plexor::report
