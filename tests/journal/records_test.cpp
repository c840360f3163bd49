#include "journal/records.hpp"

#include <gmock/gmock.h>

#include <cmath>
#include <limits>
#include <nlohmann/json.hpp>

#include "journal/sample_journal.hpp"

namespace plexor::journal {
namespace {

using namespace std::chrono_literals;

/// The record as it comes back from a journal that holds it behind a header.
Record read_back(const Record& record) {
  const ReadJournal read = read_all(journal_of({Header{}, record}));
  EXPECT_TRUE(read.summary.damages.empty()) << read.summary.damages.front().what;
  return read.entries.size() == 2 ? read.entries[1].record : Record{};
}

TEST(Records, ComeBackEqualWhateverTheirType) {
  const auto records = sample_records();
  const ReadJournal read = read_all(journal_of(records));
  ASSERT_EQ(read.entries.size(), records.size());
  for (std::size_t i = 0; i < records.size(); ++i) {
    EXPECT_EQ(read.entries[i], (Entry{i, records[i]})) << "record " << i;
  }
  EXPECT_EQ(read.summary.damage_count, 0U);
}

TEST(Records, ComeBackEqualWhateverTheirValues) {
  std::vector<Record> records{sample_records().front()};
  for (std::uint32_t i = 0; i < 5000; ++i) records.push_back(random_record(7, i));
  const ReadJournal read = read_all(journal_of(records));
  ASSERT_EQ(read.summary.damage_count, 0U) << read.summary.damages.front().what;
  ASSERT_EQ(read.entries.size(), records.size());
  for (std::size_t i = 0; i < records.size(); ++i) {
    ASSERT_EQ(read.entries[i], (Entry{i, records[i]})) << "record " << i;
  }
}

TEST(Records, AreLinesThatAnyJsonReaderAccepts) {
  for (std::uint32_t i = 0; i < 500; ++i) {
    std::string line;
    append_line(line, i, random_record(8, i));
    EXPECT_EQ(line.find('\n'), line.size() - 1);
    EXPECT_EQ(nlohmann::json::parse(line).at("seq"), i);
  }
}

// A change here needs a new format_version, and this file must still be read.
TEST(Records, OfFormat1AreStillRead) {
  const std::filesystem::path golden{PLEXOR_SOURCE_DIR "/tests/journal/format_1.jsonl"};
  const auto read = read_file(golden);
  EXPECT_EQ(read.summary.damage_count, 0U);
  EXPECT_EQ(read.summary.records, 11U);
}

TEST(Records, OfFormat2AreStillRead) {
  const std::filesystem::path golden{PLEXOR_SOURCE_DIR "/tests/journal/format_2.jsonl"};
  const auto read = read_file(golden);
  EXPECT_EQ(read.summary.damage_count, 0U);
  EXPECT_EQ(read.summary.records, 12U);
}

TEST(Records, OfFormat3AreStillRead) {
  const std::filesystem::path golden{PLEXOR_SOURCE_DIR "/tests/journal/format_3.jsonl"};
  const auto read = read_file(golden);
  EXPECT_EQ(read.summary.damage_count, 0U);
  EXPECT_EQ(read.summary.records, 13U);
  const auto& devices = std::get<Header>(read.entries.front().record).rig.devices;
  EXPECT_EQ(devices.at(0).listeners, (std::vector<ListenerFacts>{{.arrival_width = 16ms}}));
}

TEST(Records, OfFormat4AreStillRead) {
  const std::filesystem::path golden{PLEXOR_SOURCE_DIR "/tests/journal/format_4.jsonl"};
  const auto read = read_file(golden);
  EXPECT_EQ(read.summary.damage_count, 0U);
  EXPECT_EQ(read.summary.records, 13U);
  EXPECT_TRUE(std::get<Header>(read.entries.front().record).rig.channels.empty());
}

TEST(Records, OfFormat5AreStillRead) {
  const std::filesystem::path golden{PLEXOR_SOURCE_DIR "/tests/journal/format_5.jsonl"};
  const auto read = read_file(golden);
  EXPECT_EQ(read.summary.damage_count, 0U);
  EXPECT_EQ(read.summary.records, 14U);
  EXPECT_EQ(std::get<Segment>(read.entries.at(2).record).utc_offset_s, 0);
}

TEST(Records, HaveTheLinesOfFormat6) {
  const std::filesystem::path golden{PLEXOR_SOURCE_DIR "/tests/journal/format_6.jsonl"};
  EXPECT_EQ(journal_of(sample_records()), bytes_of(golden));
  EXPECT_EQ(read_file(golden).summary.records, sample_records().size());
}

TEST(Records, OfATwoTapTrialOfALongNightStayShort) {
  const auto day = base::Instant{24h};
  const base::Duration on_time{8'123'456};
  const std::vector<base::Pulse> pulses{{day, on_time}, {day + 190'123'456ns, on_time}};
  std::string lines;
  const base::Trial trial{.id = {1, 12'345, 0},
                          .taps = {{0ns, {901'234}}, {190'123'456ns, {899'123}}},
                          .window = 1200ms,
                          .gap = 2'123'456'789ns};
  append_line(lines, 99'998, TrialPlanned{trial, day, pulses, 31'250});
  append_line(lines, 99'999, heard("call", day + 650'123'456ns));
  append_line(lines, 100'000,
              TrialDone{{1, 12'345, 0}, day, pulses, {day, day + 190'123'456ns}, {}});
  EXPECT_LE(lines.size(), 580U) << lines;
}

TEST(Records, KeepBytesThatAreNoUtf8AsReplacementCharacters) {
  EXPECT_EQ(read_back(heard("ca\xffll\xc3")), Record{heard("ca\xef\xbf\xbdll\xef\xbf\xbd")});
}

TEST(Records, HoldNoFigureWhereADeviceSentNone) {
  constexpr double infinity = std::numeric_limits<double>::infinity();
  for (const double odd : {infinity, -infinity, std::nan("")}) {
    Heard sent = heard("call");
    sent.event.device_time = base::Duration::max();
    sent.event.strength = odd;
    EXPECT_EQ(read_back(sent), Record{heard("call")});
  }
}

TEST(Records, KeepEveryDigitOfAStrength) {
  for (const double strength : {0.1, 1e300, -5e-324, 1.0 / 3.0, 1e16, 0.0, 123456789.125}) {
    Heard sent = heard("call");
    sent.event.strength = strength;
    EXPECT_EQ(read_back(sent), Record{sent});
  }
}

TEST(Records, WithAnInstantBeyondTheFormatAreRefusedAsOurBug) {
  std::string out;
  EXPECT_THROW(append_line(out, 0, heard("call", base::Instant::max())), std::logic_error);
}

}  // namespace
}  // namespace plexor::journal
