#include "journal/reader.hpp"

#include <fmt/format.h>

#include <filesystem>
#include <system_error>
#include <utility>

#include "base/error.hpp"
#include "journal/damage_log.hpp"
#include "journal/decode.hpp"
#include "journal/file.hpp"
#include "journal/frame.hpp"
#include "journal/line_reader.hpp"
#include "journal/parts.hpp"

namespace plexor::journal {
namespace {

constexpr std::string_view wanted = "a plexor journal";

/// One line as read: a good entry, or why the line is lost.
struct Reading {
  const Entry* entry = nullptr;
  std::string problem;
  bool may_be_torn = false;
};

Reading examine(const LineReader::Line& line, Decoder& decoder) {
  Reading reading;
  if (line.too_long) {
    reading.problem = fmt::format("line longer than {} bytes", max_line_bytes);
    reading.may_be_torn = !line.finished;
  } else if (!line.finished) {
    reading.problem = "line without an end";
    reading.may_be_torn = true;
  } else if (const auto problem = frame_problem(line.text)) {
    reading.problem = *problem;
    reading.may_be_torn = true;
  } else {
    reading.entry = decoder.decode(line.text);
    if (reading.entry == nullptr) reading.problem = decoder.problem();
  }
  return reading;
}

/// A reader of another format must not guess, so the first line decides.
void check_header(const Reading& first, const std::string& name) {
  const base::Place place{.file = name, .line = 1};
  if (first.entry == nullptr) {
    throw base::InputError(place, first.problem, std::string{wanted},
                           "if it was one, its first line is damaged and the run can't be read");
  }
  const auto* header = std::get_if<Header>(&first.entry->record);
  if (header == nullptr) {
    throw base::InputError(place, "another record", "the header of " + std::string{wanted});
  }
  if (header->format > format_version) {
    throw base::InputError(
        fmt::format("journal {} has format {}; this build reads up to {}: update plexor", name,
                    header->format, format_version));
  }
  if (header->format < 1) {
    throw base::InputError(place, fmt::format("format {}", header->format),
                           fmt::format("a format from 1 to {}", format_version));
  }
}

ReadSummary read(LineReader::Source source, const std::string& name,
                 const std::function<void(const Entry&)>& take) {
  ReadSummary summary;
  DamageLog log(summary);
  LineReader lines(std::move(source));
  Decoder decoder;
  LineReader::Line line;
  std::uint64_t number = 0;
  while (lines.next(line)) {
    ++number;
    summary.bytes += line.bytes;
    Reading reading = examine(line, decoder);
    if (number == 1) {
      check_header(reading, name);
    } else if (reading.entry != nullptr) {
      if (std::holds_alternative<Header>(reading.entry->record)) {
        reading = {.problem = "a second header"};
      } else if (auto repetition = log.repetition(reading.entry->sequence)) {
        reading = {.problem = std::move(*repetition)};
      }
    }
    if (reading.entry == nullptr) {
      log.lost(number, line, std::move(reading.problem), reading.may_be_torn);
      continue;
    }
    log.good(number, line, reading.entry->sequence);
    ++summary.records;
    take(*reading.entry);
  }
  if (number == 0) {
    throw base::InputError({.file = name}, "an empty file", std::string{wanted},
                           "the run stopped before it began");
  }
  log.finish();
  return summary;
}

struct PartsRead {
  ReadSummary summary;
  std::uint64_t bytes_before_newest = 0;
};
PartsRead read_parts(const std::filesystem::path& path,
                     const std::function<void(const Entry&)>& take,
                     const std::function<void(double share)>& progress) {
  PartsReader parts(path, wanted);
  const auto source = [&](char* to, std::size_t room) {
    const std::size_t got = parts.read(to, room);
    progress(parts.share_read());
    return got;
  };
  ReadSummary summary = read(source, path.string(), take);
  return {std::move(summary), parts.bytes_before_newest()};
}

}  // namespace

ReadSummary read_journal(const std::filesystem::path& path,
                         const std::function<void(const Entry&)>& take,
                         const std::function<void(double share)>& progress) {
  return read_parts(path, take, progress).summary;
}

ReadSummary read_journal_bytes(std::string_view bytes, const std::string& name,
                               const std::function<void(const Entry&)>& take) {
  const auto source = [&bytes](char* to, std::size_t room) {
    const std::size_t size = bytes.copy(to, room);
    bytes.remove_prefix(size);
    return size;
  };
  return read(source, name, take);
}

std::optional<Damage> recover_tail(const std::filesystem::path& path) {
  const auto [summary, before] = read_parts(
      path, [](const Entry&) {}, [](double) {});
  std::optional<Damage> torn;
  if (!summary.damages.empty() && summary.damages.back().torn_tail) torn = summary.damages.back();
  std::error_code none;
  if (!std::filesystem::exists(path, none)) return torn;  // cut off between two files
  const bool is_in_newest = torn && torn->offset >= before;
  cut_and_keep(path, is_in_newest ? std::optional{torn->offset - before} : std::nullopt,
               "the journal");
  return torn;
}

}  // namespace plexor::journal
