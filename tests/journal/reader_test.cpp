#include "journal/reader.hpp"

#include <gmock/gmock.h>

#include <unistd.h>

#include <algorithm>
#include <boost/crc.hpp>
#include <filesystem>
#include <fstream>

#include "base/error.hpp"
#include "base/random.hpp"
#include "journal/sample_journal.hpp"
#include "journal/writer.hpp"

namespace plexor::journal {
namespace {

using testing::AllOf;
using testing::HasSubstr;
using testing::StartsWith;
using testing::ThrowsMessage;

/// What the reader says about one line behind a header, whose checksum is right.
std::string complaint_about(std::string_view members) {
  const ReadJournal read = read_all(journal_of({Header{}}) + framed(members));
  EXPECT_EQ(read.entries.size(), 1U);
  EXPECT_EQ(read.summary.damage_count, 1U);
  return read.summary.damages.empty() ? "" : read.summary.damages.front().what;
}

/// A journal whose header says another format; all else is as we write it.
std::string journal_of_format(int format) {
  Header header;
  header.format = format;
  return journal_of({header});
}

TEST(Checksum, IsTheCrc32OfTheRestOfTheLine) {
  // Boost.CRC is the other implementation.
  for (const Record& record : sample_records()) {
    std::string line;
    append_line(line, 7, record);
    const auto rest = std::string_view(line).substr(18, line.size() - 19);
    boost::crc_32_type boosts;
    boosts.process_bytes(rest.data(), rest.size());
    EXPECT_EQ(std::stoul(line.substr(8, 8), nullptr, 16), boosts.checksum()) << line;
  }
}

TEST(Reader, CountsRecordsAndBytes) {
  const std::string bytes = journal_of(sample_records());
  const ReadJournal read = read_all(bytes);
  EXPECT_EQ(read.summary.records, sample_records().size());
  EXPECT_EQ(read.summary.bytes, bytes.size());
  EXPECT_EQ(read.summary.next_sequence, sample_records().size());
}

TEST(Reader, TellsHowFarItHasRead) {
  const auto path = std::filesystem::temp_directory_path() /
                    ("plexor-progress-" + std::to_string(getpid()) + ".jsonl");
  std::vector<Record> records{Header{}};
  records.resize(20'000, Segment{.boot_id = "b"});  // longer than one read
  std::ofstream(path) << journal_of(records);
  std::vector<double> shares;
  read_journal(
      path, [](const Entry&) {}, [&](double share) { shares.push_back(share); });
  std::filesystem::remove(path);
  ASSERT_GT(shares.size(), 2U);
  EXPECT_TRUE(std::is_sorted(shares.begin(), shares.end()));
  EXPECT_LT(shares.front(), 0.9);
  EXPECT_EQ(shares.back(), 1.0);
}

TEST(Reader, DoesNotMindWhereItsBufferEnds) {
  std::vector<Record> records{Header{}};
  for (std::size_t i = 0; i < 300; ++i) records.push_back(heard(std::string(i * 37 % 5000, 'k')));
  records.push_back(heard(std::string(3'000'000, 'k')));  // far longer than the first buffer
  records.push_back(heard("call"));
  const ReadJournal read = read_all(journal_of(records));
  ASSERT_EQ(read.entries.size(), records.size());
  EXPECT_EQ(read.entries.back().record, records.back());
}

TEST(Reader, IgnoresMembersThatItDoesNotKnow) {
  const auto line = framed(
      R"("seq":1,"note":{"by":["us"]},"type":"listener","device":3,"colour":"blue","up":true,"at_ns":5)");
  const ReadJournal read = read_all(journal_of({Header{}}) + line);
  ASSERT_EQ(read.entries.size(), 2U);
  EXPECT_EQ(read.entries[1].record,
            Record{(ListenerState{3, true, base::Instant{base::Duration{5}}})});
}

TEST(Reader, DoesNotMindTheOrderOfMembers) {
  const auto line = framed(R"("at_ns":5,"up":true,"type":"listener","device":3,"seq":1)");
  const ReadJournal read = read_all(journal_of({Header{}}) + line);
  ASSERT_EQ(read.entries.size(), 2U);
  EXPECT_EQ(read.entries[1].record,
            Record{(ListenerState{3, true, base::Instant{base::Duration{5}}})});
}

TEST(Reader, BelievesAMarkWholeThatDoesNotSayWhenItWasTold) {
  const auto line = framed(
      R"("seq":1,"type":"disturbance","name":"mug","by":"hand","from_ns":5,"to_ns":9000000000000)");
  const ReadJournal read = read_all(journal_of({Header{}}) + line);
  ASSERT_EQ(read.entries.size(), 2U);
  const auto& mark = std::get<Disturbance>(read.entries[1].record);
  EXPECT_EQ(mark.believed_from(), mark.from);
}

TEST(Reader, NamesWhatIsWrongInALineWithTheRightChecksum) {
  EXPECT_THAT(complaint_about(R"("seq":1,"type":"listener")"), HasSubstr("\"device\" is missing"));
  EXPECT_THAT(complaint_about(R"("seq":1,"type":"song")"), HasSubstr("record type \"song\""));
  EXPECT_THAT(complaint_about(R"("seq":1,)"), HasSubstr("no JSON"));
  EXPECT_THAT(complaint_about(R"("seq":1},{)"), HasSubstr("no JSON"));
  EXPECT_THAT(complaint_about(R"("type":"ended")"), HasSubstr("\"seq\" is missing"));
  EXPECT_THAT(complaint_about(R"("seq":1.5,"type":"ended")"), HasSubstr("\"seq\" is not a whole"));
  EXPECT_THAT(complaint_about(R"("seq":1,"type":7)"), HasSubstr("\"type\" is not a string"));
}

TEST(Reader, NamesNumbersOutOfRange) {
  const auto listener = [](std::string_view device, std::string_view at_ns) {
    return complaint_about(std::string{R"("seq":1,"type":"listener","device":)"}.append(device) +
                           R"(,"up":true,"at_ns":)" + std::string{at_ns});
  };
  EXPECT_THAT(listener("4294967296", "0"), HasSubstr("\"device\" is not a whole number from 0"));
  EXPECT_THAT(listener("-1", "0"), HasSubstr("\"device\""));
  EXPECT_THAT(listener("0", "1152921504606846977"), HasSubstr("\"at_ns\""));
  EXPECT_THAT(listener("0", "99999999999999999999999"), HasSubstr("no JSON"));
  EXPECT_THAT(listener("0", "1e3"), HasSubstr("\"at_ns\""));
}

TEST(Reader, NamesListsThatDoNotFitTogether) {
  const auto done = [](std::string_view id, std::string_view on, std::string_view on_time) {
    return complaint_about(std::string{R"("seq":1,"type":"done","id":)"}.append(id) +
                           R"(,"end_ns":1,"on_ns":)" + std::string{on} + R"(,"pulse_ns":)" +
                           std::string{on_time} + R"(,"contact_ns":[])");
  };
  EXPECT_THAT(done("[0,1,0]", "[1,2]", "[1]"), HasSubstr("as long as \"on_ns\""));
  EXPECT_THAT(done("[0,1,0]", "[1]", "[1,2]"), HasSubstr("as long as \"on_ns\""));
  EXPECT_THAT(done("[0,1]", "[]", "[]"), HasSubstr("\"id\""));
  EXPECT_THAT(done("[0,1,2,3]", "[]", "[]"), HasSubstr("\"id\""));
  EXPECT_THAT(done("[0,1,2]", "7", "[]"), HasSubstr("\"on_ns\" is not a list"));
}

TEST(Reader, NamesWordsThatTheFormatDoesNotHave) {
  EXPECT_THAT(complaint_about(R"("seq":1,"type":"ended","reason":"bored","detail":"","at_ns":0)"),
              HasSubstr("unknown reason \"bored\""));
  EXPECT_THAT(complaint_about(R"("seq":1,"type":"trial","id":[0,0,0],"kind":"song")"),
              HasSubstr("unknown kind of trial \"song\""));
}

TEST(Reader, RefusesANewerFormat) {
  EXPECT_THAT([] { read_all(journal_of_format(7)); },
              ThrowsMessage<base::InputError>("journal sample.jsonl has format 7; this build "
                                              "reads up to 6: update plexor"));
  EXPECT_THROW(read_all(journal_of_format(0)), base::InputError);
}

TEST(Reader, RefusesWhatIsNoJournal) {
  for (const std::string_view text :
       {"", "\n", "[scenario]\nname = \"x\"\n", "{\"crc\":\"00000000\",\"seq\":0}\n"}) {
    EXPECT_THAT([&] { read_all(text); },
                ThrowsMessage<base::InputError>(
                    AllOf(StartsWith("sample.jsonl"), HasSubstr("expected a plexor journal"))))
        << text;
  }
}

TEST(Reader, RefusesAJournalWithoutHeader) {
  EXPECT_THROW(read_all(journal_of({heard("call"), Header{}})), base::InputError);
}

TEST(Reader, RefusesAMissingFileAFolderAndADevice) {
  const TestFolder folder;
  EXPECT_THAT([&] { read_file(folder / "none.jsonl"); },
              ThrowsMessage<base::InputError>(HasSubstr("none.jsonl: found No such file")));
  EXPECT_THAT([&] { read_file(folder.path()); },
              ThrowsMessage<base::InputError>(HasSubstr("found a folder")));
  EXPECT_THROW(read_file("/dev/zero"), base::InputError);
}

}  // namespace
}  // namespace plexor::journal
