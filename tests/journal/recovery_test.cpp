#include <gmock/gmock.h>

#include "base/error.hpp"
#include "journal/sample_journal.hpp"

namespace plexor::journal {
namespace {

TEST(Recovery, LeavesAWholeJournalAlone) {
  const TestFolder folder;
  const std::string sample = journal_of(sample_records());
  write_bytes(folder / "journal.jsonl", sample);
  EXPECT_EQ(recover_tail(folder / "journal.jsonl"), std::nullopt);
  EXPECT_EQ(bytes_of(folder / "journal.jsonl"), sample);
}

TEST(Recovery, CutsTheTornTailAndSaysHowMuch) {
  const TestFolder folder;
  const std::string sample = journal_of(sample_records());
  write_bytes(folder / "journal.jsonl", sample + R"({"crc":"0123)");
  const auto cut = recover_tail(folder / "journal.jsonl");
  ASSERT_TRUE(cut);
  EXPECT_EQ(cut->bytes, 12U);
  EXPECT_EQ(cut->offset, sample.size());
  EXPECT_EQ(bytes_of(folder / "journal.jsonl"), sample);
}

TEST(Recovery, CutsALastLineWhoseChecksumDiffers) {
  const TestFolder folder;
  const std::string sample = journal_of(sample_records());
  write_bytes(folder / "journal.jsonl", sample + std::string(50, '\0') + "\n");
  EXPECT_TRUE(recover_tail(folder / "journal.jsonl"));
  EXPECT_EQ(bytes_of(folder / "journal.jsonl"), sample);
}

TEST(Recovery, LeavesDamageElsewhereInPlace) {
  const TestFolder folder;
  const std::string damaged = journal_of({Header{}}) + "mug\n" + [] {
    std::string line;
    append_line(line, 2, heard("call"));
    return line;
  }();
  write_bytes(folder / "journal.jsonl", damaged);
  EXPECT_FALSE(recover_tail(folder / "journal.jsonl"));
  EXPECT_EQ(bytes_of(folder / "journal.jsonl"), damaged);
}

TEST(Recovery, LetsTheRunGoOnAfterACutAnywhere) {
  const TestFolder folder;
  const auto path = folder / "journal.jsonl";
  const std::string sample = journal_of({Header{}, heard("call"), heard("kiln")});
  for (std::size_t cut = journal_of({Header{}}).size(); cut <= sample.size(); cut += 7) {
    write_bytes(path, sample.substr(0, cut));
    (void)recover_tail(path);
    const std::uint64_t next = read_file(path).summary.next_sequence;
    Writer writer(open_journal_file(path), next);
    writer.append(Segment{"after the power cut", 5, 6});
    writer.sync();
    const ReadJournal read = read_file(path);
    ASSERT_EQ(read.summary.damage_count, 0U) << "cut at " << cut;
    ASSERT_EQ(read.entries.size(), next + 1);
    ASSERT_TRUE(std::holds_alternative<Segment>(read.entries.back().record));
  }
}

TEST(Recovery, RefusesWhatIsNoJournal) {
  const TestFolder folder;
  write_bytes(folder / "journal.jsonl", "mug");
  EXPECT_THROW((void)recover_tail(folder / "journal.jsonl"), base::InputError);
  EXPECT_THROW((void)recover_tail(folder / "none.jsonl"), base::InputError);
  EXPECT_EQ(bytes_of(folder / "journal.jsonl"), "mug");
}

}  // namespace
}  // namespace plexor::journal
