#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string>
#include <string_view>
#include <vector>

#include "rig/line_assembler.hpp"
#include "rig/line_sorter.hpp"
#include "rig/line_text.hpp"

// Whatever bytes a device sends, in whatever pieces: lines are short, printable text, the same
// ones however the bytes were cut.

namespace {

using namespace plexor;

void require(bool promise) {
  if (!promise) std::abort();
}

/// The first byte says how long the pieces are.
std::vector<std::string> lines_of(std::string_view bytes, std::size_t piece) {
  std::vector<std::string> lines;
  rig::LineAssembler assembler([&](std::string_view line) { lines.emplace_back(line); });
  for (; !bytes.empty(); bytes.remove_prefix(std::min(piece, bytes.size()))) {
    assembler.feed(bytes.substr(0, piece));
  }
  return lines;
}

void check_text(const std::string& line) {
  require(!line.empty() && line.size() <= rig::LineAssembler::longest_line);
  const std::string text = rig::printable(line);
  require(rig::printable(text) == text);
  require(text.size() <= 3 * line.size());
}

void check_sorting(const std::vector<std::string>& lines) {
  rig::LineSorter sorter(
      "panel",
      {.pattern =
           R"(k (?P<event>.*?)(@(?P<device_time_ms>\S*))?(#(?P<strength>\S*))?(:(?P<device>.*))?$)"},
      rig::IdentitySettings{.query = "v", .pattern = R"(^v(?P<version>\S+))", .banner = "^boot"});
  for (const std::string& line : lines) {
    const auto sorted = sorter.sort(rig::printable(line));
    if (sorted.kind == rig::LineSorter::Kind::answer) require(!sorted.version.empty());
    if (sorted.kind != rig::LineSorter::Kind::report) continue;
    const std::string& event = sorted.reading.event;
    require(!event.empty() && event.size() <= rig::ReportPattern::longest_event);
    require(rig::printable(event) == event);
  }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  if (size == 0) return 0;
  const std::string_view bytes(reinterpret_cast<const char*>(data + 1), size - 1);
  const std::vector<std::string> lines = lines_of(bytes, std::size_t{data[0]} + 1);
  require(lines == lines_of(bytes, bytes.size() + 1));
  for (const std::string& line : lines) check_text(line);
  check_sorting(lines);
  return 0;
}
