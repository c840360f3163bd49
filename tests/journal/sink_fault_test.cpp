#include <gmock/gmock.h>

#include "base/error.hpp"
#include "journal/sample_journal.hpp"

namespace plexor::journal {
namespace {

using testing::ThrowsMessage;

TEST(FaultySink, LatchesTheFirstFailedWrite) {
  MemoryFile file;
  Writer writer(memory_sink(file, {.write = 1}));
  writer.append(Header{});
  writer.sync();
  writer.append(heard("call"));
  EXPECT_THROW(writer.sync(), base::RigFault);
  const auto same = ThrowsMessage<base::RigFault>("disk: write failed");
  EXPECT_THAT([&] { writer.append(heard("call")); }, same);
  EXPECT_THAT([&] { writer.flush(); }, same);
  EXPECT_THAT([&] { writer.sync(); }, same);
  EXPECT_EQ(file.writes, 2U);
  EXPECT_EQ(writer.durable(), 1U);
}

TEST(FaultySink, LatchesAFailedSyncAndDoesNotTryAgain) {
  MemoryFile file;
  Writer writer(memory_sink(file, {.sync = 0}));
  writer.append(Header{});
  EXPECT_THROW(writer.sync(), base::RigFault);
  EXPECT_THROW(writer.sync(), base::RigFault);
  EXPECT_EQ(file.syncs, 1U);
  EXPECT_EQ(writer.durable(), 0U);
}

TEST(FaultySink, LatchesWhenAFullBufferCannotBeWritten) {
  MemoryFile file;
  Writer writer(memory_sink(file, {.write = 0}));
  const auto append_much = [&] {
    for (int i = 0; i < 10'000; ++i) writer.append(heard("call"));
  };
  EXPECT_THROW(append_much(), base::RigFault);
  EXPECT_THROW(writer.append(heard("call")), base::RigFault);
}

TEST(FaultySink, LeavesAJournalThatReadsUpToWhereTheDiskWasFull) {
  const std::string whole = journal_of(sample_records());
  const std::size_t header = journal_of({sample_records().front()}).size();
  for (std::size_t room = header; room < whole.size(); ++room) {
    MemoryFile file;
    Writer writer(memory_sink(file, {.bytes = room}));
    for (const Record& record : sample_records()) writer.append(record);
    ASSERT_THROW(writer.sync(), base::RigFault);
    ASSERT_EQ(writer.durable(), 0U);
    ASSERT_EQ(file.bytes, whole.substr(0, room));
    ASSERT_LE(read_all(file.bytes).summary.damage_count, 1U);
  }
}

}  // namespace
}  // namespace plexor::journal
