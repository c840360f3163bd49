#include "journal/frame.hpp"

#include <zlib.h>

#include <algorithm>
#include <array>

namespace plexor::journal {
namespace {

constexpr std::string_view before_crc = R"({"crc":")";
constexpr std::string_view after_crc = R"(",)";
constexpr std::size_t crc_digits = 8;
constexpr std::size_t body_begin = before_crc.size() + crc_digits + after_crc.size();

std::array<char, crc_digits> to_hex(std::uint32_t value) {
  std::array<char, crc_digits> digits{};
  for (std::size_t i = crc_digits; i-- > 0; value >>= 4U) {
    digits[i] = "0123456789abcdef"[value & 0xfU];
  }
  return digits;
}

}  // namespace

// By zlib, because a table of single bytes takes a third of the time of appending.
std::uint32_t checksum(std::string_view bytes) {
  const auto* data = reinterpret_cast<const Bytef*>(bytes.data());
  return static_cast<std::uint32_t>(::crc32_z(0, data, bytes.size()));
}

void open_line(std::string& out) {
  out += before_crc;
  out.append(crc_digits, '0');
  out += after_crc;
}

void close_line(std::string& out, std::size_t begin) {
  out += '}';
  const auto body = std::string_view{out}.substr(begin + body_begin);
  const auto digits = to_hex(checksum(body));
  std::ranges::copy(digits, out.data() + begin + before_crc.size());
  out += '\n';
}

std::optional<std::string_view> frame_problem(std::string_view line) {
  // Digits are compared as text: one spelling only, so that any changed byte is noticed.
  if (line.size() <= body_begin || !line.starts_with(before_crc) ||
      line.substr(before_crc.size() + crc_digits, after_crc.size()) != after_crc) {
    return "no checksum at the line's start";
  }
  const auto digits = to_hex(checksum(line.substr(body_begin)));
  if (!std::ranges::equal(digits, line.substr(before_crc.size(), crc_digits))) {
    return "checksum differs";
  }
  return std::nullopt;
}

}  // namespace plexor::journal
