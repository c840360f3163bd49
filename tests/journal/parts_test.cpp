#include "journal/parts.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "journal/reader.hpp"
#include "journal/sample_journal.hpp"
#include "journal/writer.hpp"

namespace plexor::journal {
namespace {

using testing::ElementsAre;
using testing::IsEmpty;

constexpr std::uint64_t part_bytes = 4096;

/// What a run of so many records leaves, in parts.
std::vector<Record> write_in_parts(const std::filesystem::path& journal, std::uint32_t count) {
  std::vector<Record> records{sample_records().front()};
  for (std::uint32_t i = 1; i < count; ++i) records.push_back(random_record(5, i));
  Writer writer(create_journal_file(journal, part_bytes));
  for (const Record& record : records) {
    writer.append(record);
    writer.flush();
  }
  writer.sync();
  return records;
}

std::vector<Record> records_in(const std::filesystem::path& journal) {
  std::vector<Record> records;
  const ReadJournal read = read_file(journal);
  EXPECT_EQ(read.summary.damage_count, 0U);
  for (const Entry& entry : read.entries) records.push_back(entry.record);
  return records;
}

std::vector<std::string> names_in(const std::filesystem::path& folder) {
  std::vector<std::string> names;
  for (const auto& entry : std::filesystem::directory_iterator(folder)) {
    names.push_back(entry.path().filename().string());
  }
  std::ranges::sort(names);
  return names;
}

TEST(Parts, OfALongJournalArePackedAndReadAsOne) {
  const TestFolder folder;
  const auto records = write_in_parts(folder / "journal.jsonl", 120);
  const auto parts = finished_parts(folder / "journal.jsonl");
  ASSERT_GE(parts.size(), 3U);
  for (std::size_t i = 0; i < parts.size(); ++i) {
    EXPECT_EQ(parts[i].number, i + 1);
    EXPECT_TRUE(parts[i].is_packed) << parts[i].file;
  }
  EXPECT_EQ(names_in(folder / "").size(), parts.size() + 1);
  EXPECT_EQ(records_in(folder / "journal.jsonl"), records);
}

TEST(Parts, AreGoneOnWithWhereTheyEnded) {
  const TestFolder folder;
  const auto journal = folder / "journal.jsonl";
  auto records = write_in_parts(journal, 60);
  EXPECT_EQ(recover_tail(journal), std::nullopt);
  Writer writer(open_journal_file(journal, part_bytes), records.size());
  for (std::uint32_t i = 60; i < 120; ++i) {
    records.push_back(random_record(5, i));
    writer.append(records.back());
    writer.flush();
  }
  writer.sync();
  EXPECT_EQ(records_in(journal), records);
}

TEST(Parts, ATornTailIsCutInTheNewestFileAlone) {
  const TestFolder folder;
  const auto journal = folder / "journal.jsonl";
  const auto records = write_in_parts(journal, 120);
  write_bytes(journal, bytes_of(journal) + "{\"crc\":\"0123");
  const auto torn = recover_tail(journal);
  ASSERT_TRUE(torn);
  EXPECT_EQ(torn->bytes, 12U);
  EXPECT_EQ(records_in(journal), records);
}

// Each state in which a power cut can leave the change from one file to the next.

TEST(Parts, ARenamedJournalWithoutANewOneIsReadAndGoneOnWith) {
  const TestFolder folder;
  const auto journal = folder / "journal.jsonl";
  auto records = write_in_parts(journal, 120);
  const auto next = static_cast<std::uint32_t>(finished_parts(journal).size()) + 1;
  std::filesystem::rename(journal, part_file(journal, next, false));
  EXPECT_EQ(records_in(journal), records);
  EXPECT_EQ(recover_tail(journal), std::nullopt);
  {
    Writer writer(open_journal_file(journal, part_bytes), records.size());
    records.push_back(random_record(5, 200));
    writer.append(records.back());
    writer.sync();
  }
  EXPECT_EQ(records_in(journal), records);
  EXPECT_TRUE(finished_parts(journal).back().is_packed);
}

TEST(Parts, ThatWerePackedHalfwayArePackedAnew) {
  const TestFolder folder;
  const auto journal = folder / "journal.jsonl";
  const auto records = write_in_parts(journal, 120);
  const auto parts = finished_parts(journal);
  const auto next = static_cast<std::uint32_t>(parts.size()) + 1;
  std::filesystem::rename(journal, part_file(journal, next, false));
  write_bytes(part_file(journal, next, true).string() + ".new", "half");
  EXPECT_EQ(records_in(journal), records);
  { const auto sink = open_journal_file(journal, part_bytes); }
  EXPECT_TRUE(finished_parts(journal).back().is_packed);
  EXPECT_EQ(records_in(journal), records);
}

TEST(Parts, ThatAreThereBothWaysCountOnce) {
  const TestFolder folder;
  const auto journal = folder / "journal.jsonl";
  const auto records = write_in_parts(journal, 120);
  const auto next = static_cast<std::uint32_t>(finished_parts(journal).size()) + 1;
  const auto plain = part_file(journal, next, false);
  std::filesystem::copy_file(journal, plain);
  pack({next, plain, false});
  std::filesystem::rename(journal, plain);  // as if it had not been removed yet
  EXPECT_EQ(records_in(journal), records);
}

TEST(Parts, DamageInAPackedPartIsNamed) {
  const TestFolder folder;
  const auto journal = folder / "journal.jsonl";
  const auto records = write_in_parts(journal, 120);
  const auto part = finished_parts(journal).at(1).file;
  std::string bytes = bytes_of(part);
  bytes.resize(bytes.size() / 2);
  write_bytes(part, bytes);
  const ReadJournal read = read_file(journal);
  EXPECT_GE(read.summary.damage_count, 1U);
  EXPECT_LT(read.entries.size(), records.size());
  EXPECT_EQ(read.entries.back().record, records.back());
  EXPECT_EQ(read.summary.next_sequence, records.size());
}

TEST(Parts, OfNoJournalAreNone) {
  const TestFolder folder;
  write_bytes(folder / "journal.0000.jsonl", "");
  write_bytes(folder / "journal.x.jsonl", "");
  write_bytes(folder / "other.0001.jsonl", "");
  write_bytes(folder / "journal.0001.jsonl.gz.new", "");
  EXPECT_THAT(finished_parts(folder / "journal.jsonl"), IsEmpty());
  EXPECT_THROW((void)read_file(folder / "journal.jsonl"), base::InputError);
}

TEST(Parts, ThatCannotBePackedStayAsTheyAre) {
  const TestFolder folder;
  const auto plain = folder / "journal.0001.jsonl";
  write_bytes(plain, "a line\n");
  std::filesystem::create_directory(plain.string() + ".gz.new");
  EXPECT_THROW(pack({1, plain, false}), base::RigFault);
  EXPECT_EQ(bytes_of(plain), "a line\n");
}

}  // namespace
}  // namespace plexor::journal
