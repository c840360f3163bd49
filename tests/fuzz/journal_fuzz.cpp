#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string>
#include <string_view>

#include "base/error.hpp"
#include "journal/frame.hpp"
#include "journal/reader.hpp"
#include "journal/writer.hpp"

namespace journal = plexor::journal;

namespace {

/// A random text never has a right checksum; with this first byte each line of
/// the rest gets one, so that the parser behind the checksum is reached.
constexpr char frame_the_rest = '+';

std::string framed(std::string_view rest) {
  std::string bytes;
  journal::append_line(bytes, 0, journal::Header{});
  while (!rest.empty()) {
    const std::string_view line = rest.substr(0, rest.find('\n'));
    const std::size_t begin = bytes.size();
    journal::open_line(bytes);
    bytes += line;
    journal::close_line(bytes, begin);
    rest.remove_prefix(line.size() == rest.size() ? line.size() : line.size() + 1);
  }
  return bytes;
}

/// What was read can be written, and means the same when it is read again.
void check_round_trip(const journal::Entry& entry) {
  std::string again;
  if (!std::holds_alternative<journal::Header>(entry.record)) {
    journal::append_line(again, 0, journal::Header{});
  }
  const std::uint64_t sequence = again.empty() ? 0 : 1;
  journal::append_line(again, sequence, entry.record);
  journal::Record last;
  const auto keep = [&](const journal::Entry& read) { last = read.record; };
  const journal::ReadSummary summary = journal::read_journal_bytes(again, "again", keep);
  if (summary.damage_count != 0 || last != entry.record) std::abort();
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view input{reinterpret_cast<const char*>(data), size};
  const std::string bytes = !input.empty() && input.front() == frame_the_rest
                                ? framed(input.substr(1))
                                : std::string{input};
  try {
    const auto summary = journal::read_journal_bytes(bytes, "input", check_round_trip);
    if (summary.bytes != bytes.size()) std::abort();
  } catch (const plexor::base::InputError&) {
    // no journal at all
  }
  return 0;
}
