#include "journal/sample_waves.hpp"

#include <limits>

#include "base/random.hpp"
#include "journal/frame.hpp"

namespace plexor::journal {
namespace {

/// Numbers one after the other from one key.
class Numbers {
 public:
  Numbers(std::uint64_t seed, std::uint32_t number)
      : key_{.seed = seed, .trial = number, .purpose = base::Purpose::dice} {}

  std::int64_t between(std::int64_t low, std::int64_t high) {
    ++key_.tap;
    return base::uniform_between(key_, low, high);
  }
  std::uint32_t index() { return static_cast<std::uint32_t>(between(0, 0xffff'ffff) >> shift()); }
  std::int64_t time(std::int64_t low) { return between(low, max_run_ns) >> shift(); }

  /// As from a quiet converter, or from one that is broken.
  std::vector<std::int32_t> values(std::size_t count) {
    const std::int64_t reach = std::int64_t{std::numeric_limits<std::int32_t>::max()} >> shift();
    std::vector<std::int32_t> drawn(count);
    for (std::int32_t& value : drawn) {
      value = static_cast<std::int32_t>(between(-reach - 1, reach));
    }
    return drawn;
  }

 private:
  std::int64_t shift() { return between(0, 31); }

  base::DrawKey key_;
};

}  // namespace

std::vector<WaveRecord> sample_waves() {
  using namespace std::chrono_literals;
  return {Waveform{.trial = {.block = 1, .number = 7, .attempt = 2},
                   .channel = 1,
                   .first = base::segment_start + 12s,
                   .period = 100us,
                   .values = {2048, 2047, 2048, 4095, 0, 10, 2048, 2048}},
          QuietEnvelope{.trial = {.block = 2, .number = 0, .attempt = 0},
                        .channel = 0,
                        .first = base::segment_start + 90s,
                        .bin = 10ms,
                        .lowest = {2040, 2041, 2039},
                        .highest = {2055, 2056, 2090}},
          Waveform{.period = 1ms}};
}

WaveRecord random_wave(std::uint64_t seed, std::uint32_t number) {
  Numbers numbers(seed, number);
  const base::TrialId trial{
      .block = numbers.index(), .number = numbers.index(), .attempt = numbers.index()};
  const std::uint32_t channel = numbers.index();
  const base::Instant first = base::segment_start + base::Duration(numbers.time(-max_run_ns));
  const base::Duration step(numbers.time(0));
  const auto count = static_cast<std::size_t>(numbers.between(0, 600));
  if (number % 2 == 0) {
    return Waveform{.trial = trial,
                    .channel = channel,
                    .first = first,
                    .period = step,
                    .values = numbers.values(count)};
  }
  return QuietEnvelope{.trial = trial,
                       .channel = channel,
                       .first = first,
                       .bin = step,
                       .lowest = numbers.values(count),
                       .highest = numbers.values(count)};
}

std::string wave_file_of(const std::vector<WaveRecord>& records) {
  std::string bytes = waveform_header();
  std::uint64_t sequence = 0;
  for (const WaveRecord& record : records) append_wave(bytes, sequence++, record);
  return bytes;
}

ReadWaves read_waves_of(std::string_view bytes) {
  ReadWaves read;
  read.summary = read_waveform_bytes(
      bytes, "waveforms.bin", [&](const WaveRecord& record) { read.records.push_back(record); });
  return read;
}

}  // namespace plexor::journal
