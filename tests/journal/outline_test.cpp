#include "journal/outline.hpp"

#include <gtest/gtest.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>

#include "base/error.hpp"
#include "journal/writer.hpp"

namespace plexor::journal {
namespace {

namespace fs = std::filesystem;

class OutlineTest : public ::testing::Test {
 protected:
  void SetUp() override {
    file_ = fs::temp_directory_path() / ("plexor-outline-" + std::to_string(getpid()));
  }
  void TearDown() override { fs::remove(file_); }
  void write(const std::string& bytes) const { std::ofstream(file_, std::ios::app) << bytes; }

  /// The next record of the journal.
  void append(const Record& record) {
    std::string line;
    append_line(line, next_++, record);
    write(line);
  }
  void begin() {
    Header header;
    header.scenario_text = std::string(200'000, 'x');
    append(header);
    Host host;
    host.run_id = "c0ffee";
    append(host);
    append(Segment{.boot_id = "one", .wall_ns = 5});
  }

  fs::path file_;
  std::uint64_t next_ = 0;
};

TEST_F(OutlineTest, ShowsHowALongJournalBeginsAndEnds) {
  begin();
  for (int i = 0; i < 5000; ++i) append(RawLine{.text = "something", .at = {}});
  append(Ended{Ended::Reason::complete, "", {}});
  const Outline outline = outline_of(file_);
  EXPECT_EQ(outline.host->run_id, "c0ffee");
  EXPECT_EQ(outline.segment->wall_ns, 5);
  ASSERT_NE(outline.ended(), nullptr);
  EXPECT_EQ(outline.ended()->reason, Ended::Reason::complete);
}

TEST_F(OutlineTest, OfALiveOrKilledRunHasNoEnd) {
  begin();
  EXPECT_EQ(outline_of(file_).ended(), nullptr);
  append(Ended{Ended::Reason::interrupted, "", {}});
  append(Segment{.boot_id = "two"});  // resumed
  EXPECT_EQ(outline_of(file_).ended(), nullptr);
  EXPECT_EQ(outline_of(file_).segment->boot_id, "one");
}

TEST_F(OutlineTest, LooksBeforeATornTailAndTrustsNoDamage) {
  begin();
  append(Ended{Ended::Reason::fault, "", {}});
  write("{\"crc\":\"0000");
  ASSERT_NE(outline_of(file_).ended(), nullptr);
  write("0000\",\"seq\":9,\"type\":\"ended\"}\n");
  EXPECT_FALSE(outline_of(file_).last) << "a checksum that differs";
}

TEST_F(OutlineTest, RefusesWhatIsNoJournal) {
  EXPECT_THROW((void)outline_of(file_), base::InputError) << "nothing there";
  write("hello\n");
  EXPECT_THROW((void)outline_of(file_), base::InputError);
}

}  // namespace
}  // namespace plexor::journal
