#include "journal/wave_codec.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <limits>
#include <stdexcept>
#include <utility>

#include "journal/frame.hpp"

namespace plexor::journal {
namespace {

constexpr std::size_t crc_bytes = 4;
constexpr char line_end = '\n';
constexpr std::uint8_t longest_run = 0xff;  // a run of 254 bytes, and its own
constexpr std::uint64_t waveform_type = 1;
constexpr std::uint64_t quiet_type = 2;

// Whole numbers: seven bits a byte, lowest first, the eighth says that more follow. Signed ones
// with the sign in the lowest bit, so that small numbers of both signs are short.

void append_unsigned(std::string& out, std::uint64_t value) {
  while (value >= 0x80) {
    out += static_cast<char>(value | 0x80U);
    value >>= 7U;
  }
  out += static_cast<char>(value);
}

void append_signed(std::string& out, std::int64_t value) {
  const auto bits = static_cast<std::uint64_t>(value);
  append_unsigned(out, (bits << 1U) ^ (value < 0 ? ~std::uint64_t{0} : 0));
}

std::int64_t within_run(base::Duration time, std::int64_t lowest) {
  if (time.count() < lowest || time.count() > max_run_ns) {
    throw std::logic_error(fmt::format("{} ns is outside what a waveform can hold", time.count()));
  }
  return time.count();
}

void append_place(std::string& out, std::uint64_t type, const base::TrialId& trial,
                  std::uint32_t channel, base::Instant first, base::Duration step) {
  append_unsigned(out, type);
  append_unsigned(out, trial.block);
  append_unsigned(out, trial.number);
  append_unsigned(out, trial.attempt);
  append_unsigned(out, channel);
  append_signed(out, within_run(first.time_since_epoch(), -max_run_ns));
  append_unsigned(out, static_cast<std::uint64_t>(within_run(step, 0)));
}

/// Each as its difference from the one before, the first from 0.
void append_differences(std::string& out, const std::vector<std::int32_t>& values) {
  std::int64_t before = 0;
  for (const std::int32_t value : values) {
    append_signed(out, value - before);
    before = value;
  }
}

void append_body(std::string& out, const Waveform& wave) {
  append_place(out, waveform_type, wave.trial, wave.channel, wave.first, wave.period);
  append_unsigned(out, wave.values.size());
  append_differences(out, wave.values);
}

void append_body(std::string& out, const QuietEnvelope& quiet) {
  if (quiet.lowest.size() != quiet.highest.size()) {
    throw std::logic_error("an envelope needs as many highest values as lowest");
  }
  append_place(out, quiet_type, quiet.trial, quiet.channel, quiet.first, quiet.bin);
  append_unsigned(out, quiet.lowest.size());
  append_differences(out, quiet.lowest);
  for (std::size_t i = 0; i < quiet.lowest.size(); ++i) {
    append_signed(out, std::int64_t{quiet.highest[i]} - quiet.lowest[i]);
  }
}

std::array<char, crc_bytes> crc_of(std::string_view body) {
  const std::uint32_t crc = checksum(body);
  std::array<char, crc_bytes> bytes{};
  for (std::size_t i = 0; i < crc_bytes; ++i) bytes[i] = static_cast<char>(crc >> (8 * i));
  return bytes;
}

/// Cheshire & Baker 1999 (IEEE/ACM Trans. Networking 7:159), with the line's end for the byte that
/// never occurs: so a reader finds the next record after any damage, and finds no false one.
void append_stuffed(std::string& out, std::string_view bytes) {
  const std::size_t begin = out.size();
  std::size_t run_at = out.size();
  out += char{1};
  const auto close_run = [&] {
    out[run_at] = static_cast<char>(out.size() - run_at);
    run_at = out.size();
    out += char{1};
  };
  for (const char byte : bytes) {
    if (byte != 0) out += byte;
    if (byte == 0 || out.size() - run_at == longest_run) close_run();
  }
  out[run_at] = static_cast<char>(out.size() - run_at);
  for (std::size_t i = begin; i < out.size(); ++i) out[i] = static_cast<char>(out[i] ^ line_end);
}

/// False if these are no bytes that append_stuffed made.
bool unstuff(std::string_view line, std::string& bytes) {
  bytes.clear();
  bytes.reserve(line.size());
  for (std::size_t at = 0; at < line.size();) {
    const auto run = static_cast<std::uint8_t>(line[at] ^ line_end);
    if (run == 0 || run > line.size() - at) return false;
    for (const char byte : line.substr(at + 1, run - std::size_t{1})) {
      bytes += static_cast<char>(byte ^ line_end);
    }
    at += run;
    if (run != longest_run && at < line.size()) bytes += '\0';
  }
  return true;
}

/// Takes numbers from the begin of some bytes; says whether all were there and in range.
class NumberReader {
 public:
  explicit NumberReader(std::string_view bytes) : rest_(bytes) {}

  [[nodiscard]] bool good() const { return good_; }
  [[nodiscard]] std::size_t bytes_left() const { return rest_.size(); }

  std::uint64_t unsigned_up_to(std::uint64_t highest) {
    const std::uint64_t value = any();
    if (value > highest) good_ = false;
    return good_ ? value : 0;
  }
  std::uint32_t index() {
    return static_cast<std::uint32_t>(unsigned_up_to(std::numeric_limits<std::uint32_t>::max()));
  }
  std::int64_t signed_within(std::int64_t highest) {
    const std::uint64_t bits = any();
    const auto value =
        static_cast<std::int64_t>((bits >> 1U) ^ ((bits & 1U) != 0 ? ~std::uint64_t{0} : 0));
    if (value < -highest || value > highest) good_ = false;
    return good_ ? value : 0;
  }
  /// How many things follow that have at least `bytes` each: no more than there is room for.
  std::size_t count_of(std::size_t bytes) {
    return static_cast<std::size_t>(unsigned_up_to(rest_.size() / bytes));
  }
  /// `before` and a difference make a value.
  std::int32_t value_after(std::int64_t before) {
    using Limits = std::numeric_limits<std::int32_t>;
    const std::int64_t value = before + signed_within(std::numeric_limits<std::uint32_t>::max());
    if (value < Limits::min() || value > Limits::max()) good_ = false;
    return good_ ? static_cast<std::int32_t>(value) : 0;
  }

 private:
  std::uint64_t any() {
    std::uint64_t value = 0;
    for (unsigned shift = 0; shift < 64 && !rest_.empty(); shift += 7) {
      const auto byte = static_cast<std::uint8_t>(rest_.front());
      rest_.remove_prefix(1);
      if (shift == 63 && byte > 1) break;
      value |= std::uint64_t{byte & 0x7fU} << shift;
      if (byte < 0x80) return value;
    }
    good_ = false;
    return 0;
  }

  std::string_view rest_;
  bool good_ = true;
};

void read_differences(NumberReader& numbers, std::size_t count, std::vector<std::int32_t>& values) {
  values.resize(count);
  std::int64_t before = 0;
  for (std::int32_t& value : values) before = value = numbers.value_after(before);
}

void read_body(NumberReader& numbers, Waveform& wave) {
  wave.period = base::Duration(numbers.unsigned_up_to(max_run_ns));
  read_differences(numbers, numbers.count_of(1), wave.values);
}

void read_body(NumberReader& numbers, QuietEnvelope& quiet) {
  quiet.bin = base::Duration(numbers.unsigned_up_to(max_run_ns));
  const std::size_t count = numbers.count_of(2);
  read_differences(numbers, count, quiet.lowest);
  quiet.highest.resize(count);
  for (std::size_t i = 0; i < count; ++i) quiet.highest[i] = numbers.value_after(quiet.lowest[i]);
}

template <typename Kind>
Kind& become(WaveRecord& record) {
  if (auto* kind = std::get_if<Kind>(&record)) return *kind;  // keeps its memory
  return record.emplace<Kind>();
}

template <typename Kind>
void read_record(NumberReader& numbers, WaveRecord& record) {
  Kind& kind = become<Kind>(record);
  kind.trial.block = numbers.index();
  kind.trial.number = numbers.index();
  kind.trial.attempt = numbers.index();
  kind.channel = numbers.index();
  kind.first = base::segment_start + base::Duration(numbers.signed_within(max_run_ns));
  read_body(numbers, kind);
}

}  // namespace

void encode_wave(std::string& out, std::string& scratch, std::uint64_t sequence,
                 const WaveRecord& record) {
  scratch.assign(crc_bytes, '\0');
  append_unsigned(scratch, sequence);
  std::visit([&](const auto& kind) { append_body(scratch, kind); }, record);
  const auto crc = crc_of(std::string_view{scratch}.substr(crc_bytes));
  std::ranges::copy(crc, scratch.data());
  append_stuffed(out, scratch);
  out += line_end;
}

bool WaveDecoder::unwrap(std::string_view line) {
  if (!unstuff(line, bytes_) || bytes_.size() <= crc_bytes) return false;
  const std::string_view all{bytes_};
  return std::ranges::equal(crc_of(all.substr(crc_bytes)), all.substr(0, crc_bytes));
}

bool WaveDecoder::decode(std::string_view line) {
  problem_.clear();
  may_be_torn_ = !unwrap(line);
  if (may_be_torn_) {
    problem_ = "checksum differs";
    return false;
  }
  NumberReader numbers(std::string_view{bytes_}.substr(crc_bytes));
  sequence_ = numbers.unsigned_up_to(max_sequence);
  const std::uint64_t type = numbers.unsigned_up_to(std::numeric_limits<std::uint64_t>::max());
  if (type == waveform_type) {
    read_record<Waveform>(numbers, record_);
  } else if (type == quiet_type) {
    read_record<QuietEnvelope>(numbers, record_);
  } else {
    problem_ = fmt::format("unknown record type {}", type);
    return false;
  }
  if (!numbers.good() || numbers.bytes_left() > 0) {
    problem_ = "a record that the format does not allow";
    return false;
  }
  return true;
}

}  // namespace plexor::journal
