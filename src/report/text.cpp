#include "report/text.hpp"

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <optional>

namespace plexor::report {

namespace {

constexpr std::string_view replacement = "\xEF\xBF\xBD";  // U+FFFD

struct CodePoint {
  std::uint32_t value = 0;
  std::size_t bytes = 0;
};

std::uint32_t byte_at(std::string_view text, std::size_t i) {
  return static_cast<unsigned char>(text[i]);
}

/// Length that the first byte of a sequence promises; 0 for a byte that begins none.
std::size_t promised_length(std::uint32_t lead) {
  if (lead < 0x80) return 1;
  if (lead >= 0xC2 && lead < 0xE0) return 2;
  if (lead >= 0xE0 && lead < 0xF0) return 3;
  if (lead >= 0xF0 && lead < 0xF5) return 4;
  return 0;
}

/// The code point at the front; nothing for bytes that are not UTF-8 (RFC 3629).
std::optional<CodePoint> decode(std::string_view text) {
  const std::uint32_t lead = byte_at(text, 0);
  const std::size_t length = promised_length(lead);
  if (length == 0 || length > text.size()) return std::nullopt;
  if (length == 1) return CodePoint{lead, 1};
  std::uint32_t value = lead & (0xFFU >> (length + 1));
  for (std::size_t i = 1; i < length; ++i) {
    const std::uint32_t next = byte_at(text, i);
    if ((next & 0xC0U) != 0x80U) return std::nullopt;
    value = (value << 6U) | (next & 0x3FU);
  }
  const bool overlong = (length == 3 && value < 0x800) || (length == 4 && value < 0x10000);
  const bool surrogate = value >= 0xD800 && value < 0xE000;
  if (overlong || surrogate || value > 0x10FFFF) return std::nullopt;
  return CodePoint{value, length};
}

bool is_harmless(std::uint32_t value) {
  if (value == '\n' || value == '\t') return true;
  if (value < 0x20 || (value >= 0x7F && value < 0xA0)) return false;  // C0, DEL, C1
  if (value >= 0x202A && value <= 0x202E) return false;               // direction overrides
  if (value >= 0x2066 && value <= 0x2069) return false;               // direction isolates
  if (value >= 0xFDD0 && value <= 0xFDEF) return false;               // noncharacters
  return (value & 0xFFFEU) != 0xFFFEU;                                // noncharacters
}

}  // namespace

std::string printable(std::string_view text) {
  std::string out;
  out.reserve(text.size());
  while (!text.empty()) {
    if (text.starts_with("\r\n")) text.remove_prefix(1);
    const std::optional<CodePoint> point = decode(text);
    const std::size_t bytes = point ? point->bytes : 1;
    out += point && is_harmless(point->value) ? text.substr(0, bytes) : replacement;
    text.remove_prefix(bytes);
  }
  return out;
}

std::string printable_line(std::string_view text) {
  std::string out = printable(text);
  std::replace_if(
      out.begin(), out.end(), [](char c) { return c == '\n' || c == '\t'; }, ' ');
  return out;
}

}  // namespace plexor::report
