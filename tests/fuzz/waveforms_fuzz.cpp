#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string>
#include <string_view>

#include "base/error.hpp"
#include "journal/frame.hpp"
#include "journal/waveforms.hpp"

namespace journal = plexor::journal;

namespace {

/// With this first byte the rest is the body of one record: it gets its checksum and is stuffed, so
/// that what lies behind the checksum is reached.
constexpr char frame_the_rest = '+';
constexpr std::size_t longest_piece = 254;

std::string stuffed_piecewise(std::string_view bytes) {
  std::string line;
  while (true) {
    const std::string_view piece = bytes.substr(0, std::min(bytes.find('\0'), longest_piece));
    line += static_cast<char>(piece.size() + 1);
    line += piece;
    bytes.remove_prefix(piece.size());
    if (bytes.empty()) return line;
    if (piece.size() < longest_piece) bytes.remove_prefix(1);
    if (bytes.empty()) return line + char{1};
  }
}

std::string framed(std::string_view body) {
  std::string bytes;
  const std::uint32_t crc = journal::checksum(body);
  for (unsigned i = 0; i < 4; ++i) bytes += static_cast<char>(crc >> (8 * i));
  bytes += body;
  std::string line = stuffed_piecewise(bytes);
  for (char& byte : line) byte = static_cast<char>(byte ^ '\n');
  return journal::waveform_header() + line + "\n";
}

/// What was read can be written, and means the same when it is read again.
void check_round_trip(const journal::WaveRecord& record) {
  std::string again = journal::waveform_header();
  journal::append_wave(again, 0, record);
  journal::WaveRecord last;
  const auto keep = [&](const journal::WaveRecord& read) { last = read; };
  const auto summary = journal::read_waveform_bytes(again, "again", keep);
  if (summary.damage_count != 0 || summary.records != 1 || last != record) std::abort();
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view input{reinterpret_cast<const char*>(data), size};
  const bool is_body = input.size() > 1 && input.front() == frame_the_rest;
  const std::string bytes = is_body ? framed(input.substr(1)) : std::string{input};
  try {
    const auto summary = journal::read_waveform_bytes(bytes, "input", check_round_trip);
    if (summary.bytes != bytes.size()) std::abort();
    if (is_body && !summary.damages.empty() &&
        summary.damages[0].what.find("checksum") != std::string::npos) {
      std::abort();  // this file does not frame as the format says
    }
  } catch (const plexor::base::InputError&) {
    // no file of waveforms at all
  }
  return 0;
}
