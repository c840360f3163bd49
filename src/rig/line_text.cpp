#include "rig/line_text.hpp"

#include <algorithm>

namespace plexor::rig {

namespace {

constexpr std::string_view replacement = "\xEF\xBF\xBD";

bool is_plain(char c) { return (c >= ' ' && c <= '~') || c == '\t'; }
unsigned byte_of(char c) { return static_cast<unsigned char>(c); }
bool continues(char c) { return (byte_of(c) & 0xC0U) == 0x80U; }

/// Bytes of the sequence that begins so; 0 if none does.
std::size_t length_of(unsigned first) {
  if (first >= 0xC2U && first <= 0xDFU) return 2;
  if (first >= 0xE0U && first <= 0xEFU) return 3;
  if (first >= 0xF0U && first <= 0xF4U) return 4;
  return 0;
}

/// Too long a form, a surrogate, or beyond the last code point.
bool is_forbidden(unsigned first, unsigned second) {
  return (first == 0xE0U && second < 0xA0U) || (first == 0xEDU && second >= 0xA0U) ||
         (first == 0xF0U && second < 0x90U) || (first == 0xF4U && second >= 0x90U);
}

/// Bytes of the character of several bytes at the begin of `rest`; 0 if there is none.
std::size_t character_at(std::string_view rest) {
  const std::size_t length = length_of(byte_of(rest.front()));
  if (length == 0 || rest.size() < length) return 0;
  if (!std::all_of(rest.begin() + 1, rest.begin() + static_cast<std::ptrdiff_t>(length), continues))
    return 0;
  const unsigned second = byte_of(rest[1]);
  if (is_forbidden(byte_of(rest.front()), second)) return 0;
  const bool is_control = byte_of(rest.front()) == 0xC2U && second < 0xA0U;
  return is_control ? 0 : length;
}

}  // namespace

std::string printable(std::string_view bytes) {
  if (std::all_of(bytes.begin(), bytes.end(), is_plain)) return std::string(bytes);
  std::string text;
  while (!bytes.empty()) {
    const std::size_t length = is_plain(bytes.front()) ? 1 : character_at(bytes);
    text += length == 0 ? replacement : bytes.substr(0, length);
    bytes.remove_prefix(std::max<std::size_t>(length, 1));
  }
  return text;
}

std::string_view cut(std::string_view utf8, std::size_t most_bytes) {
  if (utf8.size() <= most_bytes) return utf8;
  while (most_bytes > 0 && continues(utf8[most_bytes])) --most_bytes;
  return utf8.substr(0, most_bytes);
}

}  // namespace plexor::rig
