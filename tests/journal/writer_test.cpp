#include "journal/writer.hpp"

#include <gmock/gmock.h>

#include <stdexcept>

#include "base/error.hpp"
#include "journal/sample_journal.hpp"

namespace plexor::journal {
namespace {

const Record tick = heard("call");

TEST(Writer, NumbersRecordsWithoutHoles) {
  MemoryFile file;
  Writer writer(memory_sink(file));
  EXPECT_EQ(writer.append(Header{}), 0U);
  EXPECT_EQ(writer.append(tick), 1U);
  EXPECT_EQ(writer.append(tick), 2U);
  EXPECT_EQ(writer.next_sequence(), 3U);
}

TEST(Writer, GoesOnWhereAnInterruptedJournalStopped) {
  MemoryFile file;
  Writer writer(memory_sink(file), 41);
  EXPECT_EQ(writer.durable(), 41U);
  EXPECT_EQ(writer.append(tick), 41U);
}

TEST(Writer, WritesTheLinesInTheOrderOfAppending) {
  MemoryFile file;
  Writer writer(memory_sink(file));
  for (const Record& record : sample_records()) writer.append(record);
  writer.sync();
  EXPECT_EQ(file.bytes, journal_of(sample_records()));
}

TEST(Writer, CallsNothingDurableBeforeSync) {
  MemoryFile file;
  Writer writer(memory_sink(file));
  writer.append(Header{});
  writer.append(tick);
  writer.flush();
  EXPECT_EQ(writer.durable(), 0U);
  EXPECT_EQ(file.syncs, 0U);
  writer.sync();
  EXPECT_EQ(writer.durable(), 2U);
}

TEST(Writer, CommitsManyRecordsWithOneSync) {
  MemoryFile file;
  Writer writer(memory_sink(file));
  writer.append(Header{});
  for (int i = 0; i < 10'000; ++i) writer.append(tick);
  writer.sync();
  writer.sync();  // nothing new, nothing to wait for
  EXPECT_EQ(file.syncs, 1U);
  EXPECT_EQ(writer.durable(), 10'001U);
}

TEST(Writer, HandsOnFullBuffersByItself) {
  MemoryFile file;
  Writer writer(memory_sink(file));
  for (int i = 0; i < 10'000; ++i) writer.append(tick);
  EXPECT_GT(file.bytes.size(), 500'000U);
  EXPECT_LT(file.writes, 100U);
}

TEST(Writer, RefusesALineThatItsReaderWouldRefuse) {
  MemoryFile file;
  Writer writer(memory_sink(file));
  Header huge;
  huge.scenario_text.assign(std::size_t{17} << 20, 'x');
  EXPECT_THROW(writer.append(huge), base::InputError);
  EXPECT_EQ(writer.append(Header{}), 0U);
  writer.flush();
  EXPECT_EQ(read_all(file.bytes).summary.damage_count, 0U);
}

TEST(Writer, LeavesNoHalfLineBehindARecordThatItRefuses) {
  MemoryFile file;
  Writer writer(memory_sink(file));
  writer.append(Header{});
  EXPECT_THROW(writer.append(heard("call", base::Instant::max())), std::logic_error);
  writer.append(tick);
  writer.flush();
  EXPECT_EQ(file.bytes, journal_of({Header{}, tick}));
}

TEST(JournalFile, HoldsWhatWasAppended) {
  const TestFolder folder;
  Writer writer(create_journal_file(folder / "journal.jsonl"));
  for (const Record& record : sample_records()) writer.append(record);
  writer.sync();
  EXPECT_EQ(bytes_of(folder / "journal.jsonl"), journal_of(sample_records()));
}

}  // namespace
}  // namespace plexor::journal
