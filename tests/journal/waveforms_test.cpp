#include "journal/waveforms.hpp"

#include <gmock/gmock.h>

#include <cmath>
#include <limits>

#include "base/error.hpp"
#include "base/random.hpp"
#include "journal/frame.hpp"
#include "journal/sample_journal.hpp"
#include "journal/sample_waves.hpp"

namespace plexor::journal {
namespace {

using testing::HasSubstr;
using testing::ThrowsMessage;

/// A converter at rest: noise of this many steps around the middle.
Waveform noise(double sd, std::size_t count) {
  Waveform wave{.period = std::chrono::microseconds(100)};
  for (std::uint32_t i = 0; i < count; ++i) {
    const base::DrawKey key{.seed = 8, .trial = i, .purpose = base::Purpose::sample_noise};
    const double normal = static_cast<double>(base::normal_q32(base::uniform_bits(key))) * 0x1p-32;
    wave.values.push_back(static_cast<std::int32_t>(std::lround(2048.0 + sd * normal)));
  }
  return wave;
}

TEST(Waveforms, ComeBackAsTheyWere) {
  std::vector<WaveRecord> records = sample_waves();
  for (std::uint32_t number = 0; number < 400; ++number) {
    records.push_back(random_wave(11, number));
  }
  const ReadWaves read = read_waves_of(wave_file_of(records));
  EXPECT_EQ(read.records, records);
  EXPECT_EQ(read.summary.damage_count, 0U);
  EXPECT_EQ(read.summary.records, records.size());
  EXPECT_EQ(read.summary.next_sequence, records.size());
}

// Runs of 253, 254 and 255 bytes without a 0, and 0 at either end, are where stuffing may go wrong.
TEST(Waveforms, ComeBackWhateverTheirLength) {
  for (std::size_t count = 200; count < 800; ++count) {
    const Waveform wave{.values = std::vector<std::int32_t>(count, 1)};
    Waveform steps{.values = {}};
    for (std::size_t i = 0; i < count; ++i) {
      steps.values.push_back(static_cast<std::int32_t>(i % 100));
    }
    const std::vector<WaveRecord> records{wave, steps};
    ASSERT_EQ(read_waves_of(wave_file_of(records)).records, records) << count;
  }
}

TEST(Waveforms, NeedAboutOneByteForAQuietSample) {
  constexpr std::size_t samples = 100'000;
  std::string bytes;
  append_wave(bytes, 0, noise(2.0, samples));
  const double each = static_cast<double>(bytes.size()) / samples;
  RecordProperty("bytes_a_sample", std::to_string(each));
  EXPECT_LT(each, 1.01);
}

TEST(Waveforms, AsManyValuesAsPromisedAlwaysFit) {
  Waveform worst;
  for (std::size_t i = 0; i < values_that_fit; ++i) {
    worst.values.push_back(i % 2 == 0 ? std::numeric_limits<std::int32_t>::min()
                                      : std::numeric_limits<std::int32_t>::max());
  }
  MemoryFile file;
  WaveformWriter writer(memory_sink(file));
  EXPECT_NO_THROW(writer.append(worst));
  worst.values.insert(worst.values.end(), worst.values.begin(), worst.values.begin() + 500'000);
  EXPECT_THAT([&] { writer.append(worst); },
              ThrowsMessage<base::InputError>(HasSubstr("record for a shorter time")));
  EXPECT_EQ(writer.append(sample_waves()[0]), 1U);
  writer.flush();
  EXPECT_EQ(read_waves_of(file.bytes).records.size(), 2U);
}

TEST(Waveforms, ThatTheFormatDoesNotAllowAreNotWritten) {
  MemoryFile file;
  WaveformWriter writer(memory_sink(file));
  EXPECT_THROW(writer.append(QuietEnvelope{.lowest = {1, 2}, .highest = {3}}), std::logic_error);
  EXPECT_THROW(writer.append(Waveform{.period = base::Duration(-1)}), std::logic_error);
  const base::Instant beyond = base::segment_start + base::Duration(max_run_ns + 1);
  EXPECT_THROW(writer.append(Waveform{.first = beyond}), std::logic_error);
  EXPECT_EQ(writer.append(sample_waves()[0]), 0U);
  writer.flush();
  EXPECT_EQ(read_waves_of(file.bytes).records.size(), 1U);
}

TEST(Waveforms, OfANewerFormatAreRefused) {
  EXPECT_THAT([] { (void)read_waves_of(waveform_header(waveform_format_version + 1) + "?"); },
              ThrowsMessage<base::InputError>(HasSubstr("reads up to 1: update plexor")));
  EXPECT_THROW((void)read_waves_of(waveform_header(0)), base::InputError);
  EXPECT_THROW((void)read_waves_of("something else\n"), base::InputError);
}

TEST(Waveforms, OfARunThatWroteNothingAreNone) {
  EXPECT_EQ(read_waves_of("").summary.damage_count, 0U);
  const std::string header = waveform_header();
  for (std::size_t cut = 1; cut < header.size(); ++cut) {
    const ReadWaves read = read_waves_of(header.substr(0, cut));
    ASSERT_EQ(read.summary.records, 0U);
    ASSERT_EQ(read.summary.damage_count, 1U);
    ASSERT_TRUE(read.summary.damages[0].torn_tail);
  }
}

// FORMAT.md by hand: a change of the bytes needs a new format number.
TEST(Waveforms, StandInTheFileAsTheFormatSays) {
  const Waveform wave{.trial = {.block = 1, .number = 2, .attempt = 0},
                      .channel = 3,
                      .first = base::segment_start + base::Duration(-1),
                      .period = base::Duration(300),
                      .values = {5, 4}};
  // Sequence 9, type 1, trial, channel, first, period (300 = 0b10'0101100), count, 5, -1.
  const std::string body{9, 1, 1, 2, 0, 3, 1, static_cast<char>(0xac), 2, 2, 10, 1};
  std::string bytes;
  const std::uint32_t crc = checksum(body);
  for (unsigned i = 0; i < 4; ++i) bytes += static_cast<char>(crc >> (8 * i));
  ASSERT_EQ(bytes.find('\0'), std::string::npos) << "choose another body";
  bytes += body;
  const std::size_t zero = bytes.find('\0');
  std::string line;
  line += static_cast<char>(zero + 1);
  line += bytes.substr(0, zero);
  line += static_cast<char>(bytes.size() - zero);
  line += bytes.substr(zero + 1);
  for (char& byte : line) byte = static_cast<char>(byte ^ '\n');
  std::string written;
  append_wave(written, 9, wave);
  EXPECT_EQ(written, line + "\n");
}

// Longer than one run of stuffing.
TEST(Waveforms, OfTheSameValuesAreTheSameBytesForGood) {
  Waveform wave;
  for (std::int32_t i = 0; i < 2000; ++i) wave.values.push_back(i % 1000 < 600 ? i : 0);
  EXPECT_EQ(checksum(wave_file_of({wave, sample_waves()[1]})), 1429121492U);
}

}  // namespace
}  // namespace plexor::journal
