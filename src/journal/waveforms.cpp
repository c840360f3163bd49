#include "journal/waveforms.hpp"

#include <fmt/format.h>

#include <charconv>
#include <utility>

#include "base/error.hpp"
#include "journal/damage_log.hpp"
#include "journal/file.hpp"
#include "journal/frame.hpp"
#include "journal/line_reader.hpp"
#include "journal/wave_codec.hpp"

namespace plexor::journal {
namespace {

constexpr std::string_view wanted_waves = "a plexor file of waveforms";
constexpr std::string_view waves_in_messages = "the waveforms";
constexpr std::string_view header_begin = "plexor waveforms, format ";

/// The format that a first line (without its end) names; nothing if it is not whole.
std::optional<std::uint32_t> version_of(std::string_view line) {
  if (!line.starts_with(header_begin)) return std::nullopt;
  std::uint32_t version = 0;
  const std::string_view number = line.substr(header_begin.size());
  (void)std::from_chars(number.data(), number.data() + number.size(), version);
  if (waveform_header(version) != std::string{line} + "\n") return std::nullopt;
  return version;
}

void check_version(const LineReader::Line& line, const std::string& name) {
  const auto version = line.finished ? version_of(line.text) : std::nullopt;
  if (!version) {
    throw base::InputError({.file = name, .line = 1}, "another first line",
                           std::string{wanted_waves},
                           "if it was one, its first line is damaged and the rest can't be read");
  }
  if (*version > waveform_format_version) {
    throw base::InputError(
        fmt::format("the waveforms {} have format {}; this build reads up to {}: update plexor",
                    name, *version, waveform_format_version));
  }
  if (*version < 1) {
    throw base::InputError({.file = name, .line = 1}, "format 0",
                           fmt::format("a format from 1 to {}", waveform_format_version));
  }
}

/// As a file begins that was created but not yet written to.
bool is_cut_header(const LineReader::Line& line) {
  return !line.finished && waveform_header().starts_with(line.text);
}

/// One record, or why its line is lost.
void read_wave(const LineReader::Line& line, std::uint64_t number, WaveDecoder& decoder,
               DamageLog& log, ReadSummary& summary,
               const std::function<void(const WaveRecord&)>& take) {
  if (line.too_long) {
    log.lost(number, line, fmt::format("record longer than {} bytes", max_line_bytes),
             !line.finished);
  } else if (!line.finished) {
    log.lost(number, line, "record without an end", true);
  } else if (!decoder.decode(line.text)) {
    log.lost(number, line, decoder.problem(), decoder.may_be_torn());
  } else if (auto repetition = log.repetition(decoder.sequence())) {
    log.lost(number, line, std::move(*repetition), false);
  } else {
    log.good(number, line, decoder.sequence());
    ++summary.records;
    take(decoder.record());
  }
}

ReadSummary read_waves(LineReader::Source source, const std::string& name,
                       const std::function<void(const WaveRecord&)>& take) {
  ReadSummary summary;
  DamageLog log(summary);
  LineReader lines(std::move(source));
  LineReader::Line line;
  if (!lines.next(line)) return summary;
  summary.bytes = line.bytes;
  if (is_cut_header(line)) {
    log.lost(1, line, "first line without an end", true);
    log.finish();
    return summary;
  }
  check_version(line, name);
  WaveDecoder decoder;
  for (std::uint64_t number = 2; lines.next(line); ++number) {
    summary.bytes += line.bytes;
    read_wave(line, number, decoder, log, summary, take);
  }
  log.finish();
  return summary;
}

}  // namespace

std::unique_ptr<Sink> create_waveform_file(const std::filesystem::path& path) {
  return create_to_append(path, waves_in_messages);
}

std::unique_ptr<Sink> open_waveform_file(const std::filesystem::path& path) {
  return open_to_append(path, waves_in_messages);
}

std::string waveform_header(std::uint32_t version) {
  std::string line = fmt::format("{}{}", header_begin, version);
  line += fmt::format(" {:08x}\n", checksum(line));
  return line;
}

void append_wave(std::string& out, std::uint64_t sequence, const WaveRecord& record) {
  std::string scratch;
  encode_wave(out, scratch, sequence, record);
}

WaveformWriter::WaveformWriter(std::unique_ptr<Sink> sink, std::optional<std::uint64_t> go_on_at)
    : buffer_(std::move(sink)), next_(go_on_at.value_or(0)) {
  if (!go_on_at) buffer_.bytes() = waveform_header();
}

std::uint64_t WaveformWriter::append(const WaveRecord& record) {
  buffer_.check_alive();
  std::string& lines = buffer_.bytes();
  const std::size_t begin = lines.size();
  encode_wave(lines, scratch_, next_, record);
  if (const std::size_t bytes = lines.size() - begin; bytes > max_line_bytes) {
    lines.resize(begin);
    throw base::InputError(
        fmt::format("a record of {} bytes of waveform is needed, but {} is the most; record for a "
                    "shorter time or with fewer samples a second",
                    bytes, max_line_bytes));
  }
  const std::uint64_t sequence = next_++;
  if (buffer_.is_full()) flush();
  return sequence;
}

void WaveformWriter::flush() { buffer_.flush(); }

void WaveformWriter::sync() { buffer_.sync(); }

ReadSummary read_waveforms(const std::filesystem::path& path,
                           const std::function<void(const WaveRecord&)>& take) {
  const File file = open_to_read(path, wanted_waves);
  const auto source = [&](char* to, std::size_t room) {
    return read_some(file, path, wanted_waves, to, room);
  };
  return read_waves(source, path.string(), take);
}

ReadSummary read_waveform_bytes(std::string_view bytes, const std::string& name,
                                const std::function<void(const WaveRecord&)>& take) {
  const auto source = [&bytes](char* to, std::size_t room) {
    const std::size_t size = bytes.copy(to, room);
    bytes.remove_prefix(size);
    return size;
  };
  return read_waves(source, name, take);
}

RecoveredWaveforms recover_waveforms(const std::filesystem::path& path) {
  const ReadSummary summary = read_waveforms(path, [](const WaveRecord&) {});
  RecoveredWaveforms recovered;
  if (!summary.damages.empty() && summary.damages.back().torn_tail) {
    recovered.cut = summary.damages.back();
  }
  const std::uint64_t kept = recovered.cut ? recovered.cut->offset : summary.bytes;
  cut_and_keep(path, kept, waves_in_messages);
  if (kept > 0) recovered.go_on_at = summary.next_sequence;
  return recovered;
}

}  // namespace plexor::journal
