#include "journal/outline.hpp"

#include <unistd.h>

#include <algorithm>
#include <string>
#include <system_error>

#include "journal/decode.hpp"
#include "journal/file.hpp"
#include "journal/frame.hpp"
#include "journal/line_reader.hpp"
#include "journal/parts.hpp"

namespace plexor::journal {

namespace {

constexpr std::string_view wanted_journal = "a plexor journal";

/// Header, host and segment stand first. What is missing there is left empty.
void read_begin(const std::filesystem::path& path, Outline& outline) {
  PartsReader parts(path, wanted_journal);
  LineReader lines([&](char* to, std::size_t room) { return parts.read(to, room); });
  Decoder decoder;
  LineReader::Line line;
  constexpr int most = 3;
  for (int number = 0; number < most && lines.next(line); ++number) {
    const bool whole = line.finished && !line.too_long && !frame_problem(line.text);
    const Entry* entry = whole ? decoder.decode(line.text) : nullptr;
    const auto* header = entry != nullptr ? std::get_if<Header>(&entry->record) : nullptr;
    if (number == 0 && (header == nullptr || header->format > format_version)) {
      throw base::InputError({.file = path.string(), .line = 1}, "no header that this build reads",
                             "the header of " + std::string{wanted_journal});
    }
    if (entry == nullptr) continue;
    if (header != nullptr) outline.header = *header;
    if (const auto* host = std::get_if<Host>(&entry->record)) outline.host = *host;
    if (const auto* segment = std::get_if<Segment>(&entry->record)) outline.segment = *segment;
  }
}

/// The last bytes of the file that is written; a power cut may have left parts without it.
std::string tail_of(const std::filesystem::path& path) {
  std::error_code none;
  if (!std::filesystem::exists(path, none)) return {};
  constexpr off_t longest = 1 << 16;
  const File file = open_to_read(path, wanted_journal);
  const off_t size = ::lseek(file.descriptor(), 0, SEEK_END);
  if (size <= 0) return {};
  (void)::lseek(file.descriptor(), std::max<off_t>(0, size - longest), SEEK_SET);
  std::string tail(static_cast<std::size_t>(std::min(size, longest)), '\0');
  tail.resize(read_some(file, path, wanted_journal, tail.data(), tail.size()));
  return tail;
}

std::optional<Record> last_record_of(const std::filesystem::path& path) {
  std::string tail = tail_of(path);
  const std::size_t end = tail.rfind('\n');
  if (end == std::string::npos || end == 0) return std::nullopt;
  const std::size_t before = tail.rfind('\n', end - 1);
  const std::size_t begin = before == std::string::npos ? 0 : before + 1;
  const std::size_t length = end - begin;
  tail.append(LineReader::padding, '\0');
  const std::string_view line = std::string_view{tail}.substr(begin, length);
  Decoder decoder;
  const Entry* entry = frame_problem(line) ? nullptr : decoder.decode(line);
  return entry != nullptr ? std::optional{entry->record} : std::nullopt;
}

}  // namespace

Outline outline_of(const std::filesystem::path& path) {
  Outline outline;
  read_begin(path, outline);
  outline.last = last_record_of(path);
  return outline;
}

}  // namespace plexor::journal
