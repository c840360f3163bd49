#include "run/marks.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include <fstream>
#include <thread>
#include <vector>

#include "base/error.hpp"

namespace plexor::run {
namespace {

namespace fs = std::filesystem;
using ::testing::ElementsAre;
using ::testing::IsEmpty;

const Mark kiln_door{"kiln door", 1'780'344'000'000'000'000, 1'780'344'300'000'000'000};
const Mark mugs{"mugs \"in a row\"", 1'780'345'000'000'000'000, 1'780'345'000'000'000'000};

class Marks : public ::testing::Test {
 protected:
  void SetUp() override {
    folder_ = fs::temp_directory_path() / ("plexor-marks-" + std::to_string(getpid()));
    fs::create_directories(folder_);
  }
  void TearDown() override { fs::remove_all(folder_); }
  void write(const std::string& text) const { std::ofstream(file(), std::ios::app) << text; }
  [[nodiscard]] fs::path file() const { return folder_ / "marks.jsonl"; }

  static std::vector<Mark> all(MarkSpool& spool) {
    std::vector<Mark> marks;
    while (auto mark = spool.next()) marks.push_back(*std::move(mark));
    return marks;
  }

  fs::path folder_;
};

TEST_F(Marks, ComeOnceInTheirOrder) {
  MarkSpool spool(file());
  EXPECT_THAT(all(spool), IsEmpty()) << "no file yet";
  append_mark(file(), kiln_door);
  append_mark(file(), mugs);
  EXPECT_THAT(all(spool), ElementsAre(kiln_door, mugs));
  EXPECT_THAT(all(spool), IsEmpty());
  append_mark(file(), kiln_door);
  EXPECT_THAT(all(spool), ElementsAre(kiln_door)) << "a second time is a second mark";
}

TEST_F(Marks, ThatStandInTheJournalAlreadyAreNotTakenAgain) {
  append_mark(file(), kiln_door);
  write("no mark\n");
  append_mark(file(), mugs);
  MarkSpool spool(file(), 1);
  EXPECT_THAT(all(spool), ElementsAre(mugs));
}

TEST_F(Marks, WaitForTheEndOfTheirLine) {
  MarkSpool spool(file());
  const std::string line = line_of(mugs);
  write(line.substr(0, 20));
  EXPECT_THAT(all(spool), IsEmpty());
  write(line.substr(20));
  EXPECT_THAT(all(spool), ElementsAre(mugs));
  EXPECT_EQ(spool.unreadable(), 0U);
}

TEST_F(Marks, AreToldFromWhatIsNone) {
  write("\n{}\n[]\n{\"name\":\"\",\"from_unix_ns\":1,\"to_unix_ns\":2}\n");
  write("{\"name\":\"late\",\"from_unix_ns\":3,\"to_unix_ns\":2}\n");
  write("{\"name\":\"share\",\"from_unix_ns\":1.5,\"to_unix_ns\":2}\n");
  write("{\"name\":\"" + std::string(longest_mark_name + 1, 'x') +
        "\",\"from_unix_ns\":1,\"to_unix_ns\":2}\n");
  write(std::string(100'000, 'x') + "\n");
  append_mark(file(), kiln_door);
  MarkSpool spool(file());
  std::vector<Mark> marks;
  for (int look = 0; look < 100; ++look) {  // a buffer at each look
    if (auto mark = spool.next()) marks.push_back(*mark);
  }
  EXPECT_THAT(marks, ElementsAre(kiln_door));
  EXPECT_GE(spool.unreadable(), 8U);
}

TEST_F(Marks, OfSeveralPeopleAtOnceAreAllWhole) {
  constexpr int people = 4;
  constexpr int each = 50;
  std::vector<std::thread> threads;
  for (int person = 0; person < people; ++person) {
    threads.emplace_back([this] {
      for (int i = 0; i < each; ++i) append_mark(file(), kiln_door);
    });
  }
  MarkSpool spool(file());
  std::size_t taken = 0;
  while (taken < std::size_t{people * each}) taken += all(spool).size();
  for (std::thread& thread : threads) thread.join();
  EXPECT_EQ(spool.unreadable(), 0U);
}

TEST_F(Marks, ThatCantBeKeptAreSaid) {
  EXPECT_THROW(append_mark(folder_ / "gone" / "marks.jsonl", kiln_door), base::RigFault);
}

}  // namespace
}  // namespace plexor::run
