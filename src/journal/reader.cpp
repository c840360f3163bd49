#include "journal/reader.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <filesystem>
#include <system_error>
#include <utility>

#include "base/error.hpp"
#include "journal/damage_log.hpp"
#include "journal/decode.hpp"
#include "journal/file.hpp"
#include "journal/frame.hpp"
#include "journal/line_reader.hpp"

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

File open_to_read(const std::filesystem::path& path) {
  const base::Place place{.file = path.string()};
  File file = File::open(path, O_RDONLY);
  struct stat facts {};
  if (!file || ::fstat(file.descriptor(), &facts) != 0) {
    throw base::InputError(place, base::last_reason(), std::string{wanted});
  }
  if (S_ISDIR(facts.st_mode)) {
    throw base::InputError(place, "a folder", std::string{wanted},
                           "name the journal file inside the folder");
  }
  if (!S_ISREG(facts.st_mode) && !S_ISFIFO(facts.st_mode)) {
    throw base::InputError(place, "a device", std::string{wanted});
  }
  return file;
}

}  // namespace

ReadSummary read_journal(const std::filesystem::path& path,
                         const std::function<void(const Entry&)>& take,
                         const std::function<void(double share)>& progress) {
  const File file = open_to_read(path);
  std::error_code unknown;
  const auto size = static_cast<double>(std::filesystem::file_size(path, unknown));
  double done = 0.0;
  const auto source = [&](char* to, std::size_t room) -> std::size_t {
    while (true) {
      const ssize_t got = ::read(file.descriptor(), to, room);
      if (got >= 0) {
        done += static_cast<double>(got);
        if (!unknown && done <= size) progress(done / size);
        return static_cast<std::size_t>(got);
      }
      if (errno != EINTR) {
        throw base::InputError({.file = path.string()}, base::last_reason(), std::string{wanted});
      }
    }
  };
  return read(source, path.string(), take);
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
  const ReadSummary summary = read_journal(path, [](const Entry&) {});
  const File file = File::open(path, O_WRONLY);
  if (!file) throw file_fault("recover the journal", path, errno);
  std::optional<Damage> torn;
  if (!summary.damages.empty() && summary.damages.back().torn_tail) {
    torn = summary.damages.back();
    if (::ftruncate(file.descriptor(), static_cast<off_t>(torn->offset)) != 0) {
      throw file_fault("cut the torn end of", path, errno);
    }
  }
  // Also without a cut: what a killed process wrote may not be on the disk yet.
  if (::fsync(file.descriptor()) != 0) throw file_fault("make durable", path, errno);
  return torn;
}

}  // namespace plexor::journal
