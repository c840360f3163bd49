#include <gmock/gmock.h>

#include <algorithm>
#include <span>

#include "base/error.hpp"
#include "journal/sample_journal.hpp"
#include "journal/sample_waves.hpp"

namespace plexor::journal {
namespace {

using testing::HasSubstr;

/// Where each record of the sample ends; first of all, its header.
std::vector<std::size_t> ends_of_sample() {
  const std::vector<WaveRecord> records = sample_waves();
  std::vector<std::size_t> ends;
  for (std::size_t count = 0; count <= records.size(); ++count) {
    ends.push_back(
        wave_file_of({records.begin(), records.begin() + static_cast<int>(count)}).size());
  }
  return ends;
}

/// Records of the sample that were read, each as it was written and in order.
std::size_t good_records_in(const ReadWaves& read) {
  const std::vector<WaveRecord> records = sample_waves();
  auto from = records.begin();
  for (const WaveRecord& record : read.records) {
    from = std::find(from, records.end(), record);
    if (from == records.end()) ADD_FAILURE() << "a record that was never written";
    if (from == records.end()) break;
    ++from;
  }
  return read.records.size();
}

TEST(DamagedWaves, CutAnywhereLoseOnlyTheLastRecord) {
  const std::string sample = wave_file_of(sample_waves());
  const std::vector<std::size_t> ends = ends_of_sample();
  for (std::size_t cut = ends.front(); cut <= sample.size(); ++cut) {
    const auto whole = static_cast<std::size_t>(
        std::ranges::count_if(ends, [cut](std::size_t end) { return end <= cut; }) - 1);
    const ReadWaves read = read_waves_of(sample.substr(0, cut));
    ASSERT_EQ(good_records_in(read), whole);
    ASSERT_EQ(read.summary.bytes_lost, cut - ends[whole]);
    ASSERT_EQ(read.summary.damage_count, cut == ends[whole] ? 0U : 1U);
    if (cut == ends[whole]) continue;
    ASSERT_TRUE(read.summary.damages[0].torn_tail);
    ASSERT_EQ(read.summary.damages[0].offset, ends[whole]);
  }
}

TEST(DamagedWaves, AnyFlippedBitIsNamedAndOtherRecordsStay) {
  const std::string sample = wave_file_of(sample_waves());
  const std::size_t header = ends_of_sample().front();
  const std::size_t all = sample_waves().size();
  for (std::size_t bit = header * 8; bit < sample.size() * 8; ++bit) {
    std::string flipped = sample;
    flipped[bit / 8] = static_cast<char>(flipped[bit / 8] ^ (1 << (bit % 8)));
    const ReadWaves read = read_waves_of(flipped);
    // A line's end that is none any more joins two records.
    const std::size_t lost = sample[bit / 8] == '\n' && bit / 8 + 1 < sample.size() ? 2 : 1;
    ASSERT_EQ(good_records_in(read), all - lost) << bit;
    // A new line's end in the last record makes a lost line and a torn tail of it.
    ASSERT_GE(read.summary.damage_count, 1U) << bit;
    const Damage& first = read.summary.damages.front();
    const Damage& last = read.summary.damages.back();
    ASSERT_LE(first.offset, bit / 8);
    ASSERT_GT(last.offset + last.bytes, bit / 8);
    ASSERT_EQ(read.summary.bytes_lost, last.offset + last.bytes - first.offset);
    ASSERT_EQ(read.summary.bytes, sample.size());
  }
}

TEST(DamagedWaves, AFlippedBitInTheFirstLineIsRefused) {
  const std::string sample = wave_file_of(sample_waves());
  for (std::size_t bit = 0; bit < ends_of_sample().front() * 8; ++bit) {
    std::string flipped = sample;
    flipped[bit / 8] = static_cast<char>(flipped[bit / 8] ^ (1 << (bit % 8)));
    ASSERT_THROW((void)read_waves_of(flipped), base::InputError) << bit;
  }
}

TEST(DamagedWaves, ThatAreMissingOrComeTwiceAreNamed) {
  std::string bytes = waveform_header();
  append_wave(bytes, 0, sample_waves()[0]);
  append_wave(bytes, 4, sample_waves()[1]);
  append_wave(bytes, 4, sample_waves()[1]);
  const ReadWaves read = read_waves_of(bytes);
  EXPECT_EQ(read.records.size(), 2U);
  ASSERT_EQ(read.summary.damage_count, 2U);
  EXPECT_EQ(read.summary.damages[0].what, "sequence jumps from 0 to 4");
  EXPECT_EQ(read.summary.damages[1].what, "sequence goes back from 4 to 4");
}

TEST(DamagedWaves, AMonsterIsReadOverInBoundedMemory) {
  std::string bytes = wave_file_of({sample_waves()[0]});
  bytes += std::string(40'000'000, '\x0b') + "\n";
  append_wave(bytes, 2, sample_waves()[1]);
  const ReadWaves read = read_waves_of(bytes);
  EXPECT_EQ(read.records.size(), 2U);
  ASSERT_EQ(read.summary.damage_count, 1U);
  EXPECT_THAT(read.summary.damages[0].what, HasSubstr("longer than"));
  EXPECT_EQ(read.summary.bytes_lost, 40'000'001U);
}

TEST(DamagedWaves, TheFirstFailedWriteLatches) {
  MemoryFile file;
  WaveformWriter writer(memory_sink(file, {.write = 1}));
  writer.append(sample_waves()[0]);
  writer.sync();
  writer.append(sample_waves()[1]);
  EXPECT_THROW(writer.sync(), base::RigFault);
  EXPECT_THROW(writer.append(sample_waves()[1]), base::RigFault);
  EXPECT_THROW(writer.flush(), base::RigFault);
  EXPECT_EQ(file.writes, 2U);
  EXPECT_EQ(read_waves_of(file.bytes).records.size(), 1U);
}

/// A file of waveforms as a killed run left it, gone on with.
ReadWaves recovered_and_gone_on(std::string_view left, std::optional<std::uint64_t> go_on_at) {
  const TestFolder folder;
  const auto path = folder / waveform_file_name;
  write_bytes(path, left);
  const RecoveredWaveforms recovered = recover_waveforms(path);
  EXPECT_EQ(recovered.go_on_at, go_on_at);
  WaveformWriter writer(open_waveform_file(path), recovered.go_on_at);
  writer.append(sample_waves()[1]);
  writer.sync();
  ReadWaves read;
  read.summary =
      read_waveforms(path, [&](const WaveRecord& record) { read.records.push_back(record); });
  return read;
}

TEST(DamagedWaves, AreGoneOnWithBehindTheCutTail) {
  const std::string one = wave_file_of({sample_waves()[0]});
  const ReadWaves read = recovered_and_gone_on(one + "torn", 1);
  EXPECT_EQ(read.records.size(), 2U);
  EXPECT_EQ(read.summary.damage_count, 0U);
  EXPECT_EQ(read.summary.next_sequence, 2U);
}

TEST(DamagedWaves, AreBegunAgainWhereNotEvenTheFirstLineStood) {
  for (const std::string& left : {std::string{}, waveform_header().substr(0, 9)}) {
    const ReadWaves read = recovered_and_gone_on(left, std::nullopt);
    EXPECT_EQ(read.records.size(), 1U);
    EXPECT_EQ(read.summary.damage_count, 0U);
  }
}

TEST(DamagedWaves, AFileThatIsThereIsNeverOverwritten) {
  const TestFolder folder;
  const auto path = folder / waveform_file_name;
  { WaveformWriter(create_waveform_file(path)).sync(); }
  EXPECT_THAT([&] { (void)create_waveform_file(path); },
              testing::ThrowsMessage<base::RigFault>(HasSubstr("cannot create the waveforms")));
}

}  // namespace
}  // namespace plexor::journal
