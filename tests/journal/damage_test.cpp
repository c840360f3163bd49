#include <gmock/gmock.h>

#include <algorithm>
#include <span>

#include "base/error.hpp"
#include "journal/frame.hpp"
#include "journal/sample_journal.hpp"

namespace plexor::journal {
namespace {

using testing::HasSubstr;

std::vector<std::string> lines_of(const std::string& bytes) {
  std::vector<std::string> lines;
  for (std::size_t begin = 0; begin < bytes.size();) {
    const std::size_t end = bytes.find('\n', begin) + 1;
    lines.push_back(bytes.substr(begin, end - begin));
    begin = end;
  }
  return lines;
}

/// The sample's lines with these numbers (from 0), in this order.
std::string sample_with_lines(const std::vector<std::size_t>& numbers) {
  const auto lines = lines_of(journal_of(sample_records()));
  std::string bytes;
  for (const std::size_t number : numbers) bytes += lines.at(number);
  return bytes;
}

/// The end of the sample's header line: without it there is no journal.
std::size_t header_end() { return sample_with_lines({0}).size(); }

std::uint64_t bytes_lost(const ReadSummary& summary) {
  std::uint64_t lost = 0;
  for (const Damage& damage : summary.damages) lost += damage.bytes;
  return lost;
}

TEST(DamagedJournal, CutAnywhereLosesOnlyItsLastLine) {
  const std::string sample = journal_of(sample_records());
  const auto original = read_all(sample).entries;
  for (std::size_t cut = header_end(); cut <= sample.size(); ++cut) {
    const std::string rest = sample.substr(0, cut);
    const auto whole_lines = static_cast<std::size_t>(std::ranges::count(rest, '\n'));
    const std::size_t whole_bytes = rest.rfind('\n') + 1;
    const ReadJournal read = read_all(rest);
    ASSERT_TRUE(std::ranges::equal(read.entries, std::span{original}.first(whole_lines)));
    ASSERT_EQ(read.summary.damage_count, cut == whole_bytes ? 0U : 1U);
    if (cut == whole_bytes) continue;
    ASSERT_TRUE(read.summary.damages[0].torn_tail);
    ASSERT_EQ(read.summary.damages[0].offset, whole_bytes);
    ASSERT_EQ(read.summary.damages[0].bytes, cut - whole_bytes);
    ASSERT_EQ(read.summary.damages[0].line, whole_lines + 1);
    ASSERT_EQ(read.summary.next_sequence, whole_lines);
  }
}

TEST(DamagedJournal, CutWithinItsHeaderIsNone) {
  const std::string sample = journal_of(sample_records());
  for (std::size_t cut = 0; cut < header_end(); ++cut) {
    ASSERT_THROW(read_all(sample.substr(0, cut)), base::InputError) << "cut at " << cut;
  }
}

TEST(DamagedJournal, WithAnyBitFlippedSaysSoAndDeliversNothingWrong) {
  std::string sample = journal_of(sample_records());
  const auto original = read_all(sample).entries;
  for (std::size_t bit = header_end() * 8; bit < sample.size() * 8; ++bit) {
    const char before = sample[bit / 8];
    sample[bit / 8] = static_cast<char>(static_cast<unsigned char>(before) ^ (1U << bit % 8));
    const ReadJournal read = read_all(sample);
    sample[bit / 8] = before;
    ASSERT_EQ(read.summary.damage_count, 1U) << "bit " << bit;
    ASSERT_GE(read.entries.size(), original.size() - 2);  // a lost newline joins two lines
    ASSERT_GT(bytes_lost(read.summary), 0U);
    for (const Entry& entry : read.entries) ASSERT_EQ(entry, original.at(entry.sequence));
  }
}

TEST(DamagedJournal, WithAnyBitOfItsHeaderFlippedIsRefused) {
  std::string sample = journal_of(sample_records());
  for (std::size_t bit = 0; bit < header_end() * 8; ++bit) {
    const char before = sample[bit / 8];
    sample[bit / 8] = static_cast<char>(static_cast<unsigned char>(before) ^ (1U << bit % 8));
    ASSERT_THROW(read_all(sample), base::InputError) << "bit " << bit;
    sample[bit / 8] = before;
  }
}

TEST(DamagedJournal, NamesLineOffsetBytesAndTheLostRecord) {
  auto lines = lines_of(journal_of(sample_records()));
  lines[3][40] ^= 1;
  std::string bytes;
  for (const auto& line : lines) bytes += line;
  const ReadSummary summary = read_all(bytes).summary;
  ASSERT_EQ(summary.damage_count, 1U);
  EXPECT_EQ(summary.damages[0].line, 4U);
  EXPECT_EQ(summary.damages[0].offset, sample_with_lines({0, 1, 2}).size());
  EXPECT_EQ(summary.damages[0].bytes, lines[3].size());
  EXPECT_FALSE(summary.damages[0].torn_tail);
  EXPECT_EQ(summary.damages[0].what, "checksum differs; record 3 is lost");
}

TEST(DamagedJournal, CountsDamagedLinesThatFollowEachOtherAsOneStretch) {
  const std::string garbage = "one\ntwo\nthree\n";
  const ReadSummary summary =
      read_all(sample_with_lines({0, 1, 2}) + garbage + sample_with_lines({5})).summary;
  ASSERT_EQ(summary.damage_count, 1U);
  EXPECT_EQ(summary.damages[0].bytes, garbage.size());
  EXPECT_EQ(summary.damages[0].what,
            "no checksum at the line's start, 3 lines in all; records 3 to 4 are lost");
}

TEST(DamagedJournal, NamesAJumpOfTheSequenceAndKeepsTheLine) {
  const ReadJournal read = read_all(sample_with_lines({0, 1, 2, 5, 6}));
  EXPECT_EQ(read.entries.size(), 5U);
  ASSERT_EQ(read.summary.damage_count, 1U);
  EXPECT_EQ(read.summary.damages[0].what, "sequence jumps from 2 to 5");
  EXPECT_EQ(read.summary.damages[0].bytes, 0U);
}

TEST(DamagedJournal, NamesARepetitionAndDropsTheLine) {
  const ReadJournal read = read_all(sample_with_lines({0, 1, 2, 3, 1, 4}));
  EXPECT_EQ(read.entries.size(), 5U);
  ASSERT_EQ(read.summary.damage_count, 1U);
  EXPECT_EQ(read.summary.damages[0].what, "sequence goes back from 3 to 1");
  EXPECT_EQ(read.summary.damages[0].line, 5U);
}

TEST(DamagedJournal, NamesASecondHeader) {
  const ReadJournal read = read_all(journal_of({Header{}, heard("call"), Header{}}));
  EXPECT_EQ(read.entries.size(), 2U);
  ASSERT_EQ(read.summary.damage_count, 1U);
  EXPECT_EQ(read.summary.damages[0].what, "a second header");
}

TEST(DamagedJournal, NeverReusesTheNumbersOfLostRecords) {
  // Two lines that can't be read, then one that was never finished: its number was never durable.
  const ReadSummary summary = read_all(sample_with_lines({0, 1}) + "x\ny\nz").summary;
  EXPECT_EQ(summary.next_sequence, 4U);
}

TEST(DamagedJournal, LosesALineThatIsTooLongInBoundedMemory) {
  const std::string monster(3 * max_line_bytes, 'x');
  const ReadJournal read =
      read_all(sample_with_lines({0, 1}) + monster + "\n" + sample_with_lines({2}));
  EXPECT_EQ(read.entries.size(), 3U);
  ASSERT_EQ(read.summary.damage_count, 1U);
  EXPECT_EQ(read.summary.damages[0].bytes, monster.size() + 1);
  EXPECT_THAT(read.summary.damages[0].what, HasSubstr("line longer than"));
}

TEST(DamagedJournal, TakesALongUnfinishedLineForATornTail) {
  const std::string zeros(max_line_bytes + 5, '\0');
  const ReadSummary summary = read_all(sample_with_lines({0, 1}) + zeros).summary;
  ASSERT_EQ(summary.damage_count, 1U);
  EXPECT_TRUE(summary.damages[0].torn_tail);
  EXPECT_EQ(summary.damages[0].bytes, zeros.size());
}

TEST(DamagedJournal, KeepsTheFirstHundredDamagesAndTheTornTail) {
  std::string bytes = sample_with_lines({0});
  for (std::uint64_t i = 1; i <= 150; ++i) append_line(bytes, 2 * i, heard("call"));
  const ReadSummary summary = read_all(bytes + "{\"crc").summary;
  EXPECT_EQ(summary.damage_count, 151U);
  ASSERT_EQ(summary.damages.size(), 101U);
  EXPECT_TRUE(summary.damages.back().torn_tail);
}

}  // namespace
}  // namespace plexor::journal
