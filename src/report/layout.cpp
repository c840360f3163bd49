#include "report/layout.hpp"

#include <algorithm>
#include <cstddef>

namespace plexor::report {

namespace {

/// Columns that valid UTF-8 takes, near enough: one for each code point.
std::size_t columns(std::string_view text) {
  return static_cast<std::size_t>(std::count_if(text.begin(), text.end(), [](char c) {
    return (static_cast<unsigned char>(c) & 0xC0) != 0x80;
  }));
}

}  // namespace

std::string padded(std::string_view text, std::size_t width, bool right) {
  const std::string fill(width - std::min(width, columns(text)), ' ');
  return right ? fill + std::string(text) : std::string(text) + fill;
}

std::string wrapped(std::string_view text, std::size_t indent, int width) {
  const std::string begin(indent, ' ');
  const auto room = static_cast<std::size_t>(std::max(width, 40)) - indent;
  std::string out;
  std::string line;
  const auto end_line = [&] {
    if (!line.empty()) out += begin + line + "\n";
    line.clear();
  };
  while (!text.empty()) {
    const std::string_view word = text.substr(0, text.find(' '));
    text.remove_prefix(std::min(word.size() + 1, text.size()));
    if (!line.empty() && columns(line) + 1 + columns(word) > room) end_line();
    if (!line.empty()) line += ' ';
    line += word;
  }
  end_line();
  return out;
}

std::string table(const std::vector<std::vector<std::string>>& rows) {
  std::vector<std::size_t> widths(rows.front().size());
  for (const auto& row : rows) {
    for (std::size_t i = 0; i < row.size(); ++i) widths[i] = std::max(widths[i], columns(row[i]));
  }
  std::string out;
  for (const auto& row : rows) {
    std::string line = "  ";
    for (std::size_t i = 0; i < row.size(); ++i) {
      if (i > 0) line += "  ";
      line += padded(row[i], widths[i], i > 0);
    }
    line.erase(line.find_last_not_of(' ') + 1);
    out += line + "\n";
  }
  return out;
}

}  // namespace plexor::report
