#include "run/run_folder.hpp"

#include <gtest/gtest.h>
#include <unistd.h>

#include <fstream>
#include <sstream>

#include "base/error.hpp"
#include "run/file_replacement.hpp"

namespace plexor::run {
namespace {

namespace fs = std::filesystem;

class RunFolderTest : public ::testing::Test {
 protected:
  void SetUp() override {
    root_ = fs::temp_directory_path() /
            ("plexor-" + std::to_string(getpid()) + "-" +
             ::testing::UnitTest::GetInstance()->current_test_info()->name());
    fs::create_directories(root_);
  }
  void TearDown() override { fs::remove_all(root_); }

  static std::string content(const fs::path& path) {
    std::ostringstream text;
    text << std::ifstream(path).rdbuf();
    return text.str();
  }

  fs::path root_;
};

TEST_F(RunFolderTest, NeverOverwritesARecordedRun) {
  const RunFolder folder = create_run_folder(root_ / "deep" / "run");
  std::ofstream(folder.journal()) << "x";
  EXPECT_THROW((void)create_run_folder(root_ / "deep" / "run"), base::InputError);
  EXPECT_EQ(content(folder.journal()), "x");
}

TEST_F(RunFolderTest, IsFoundByFolderOrJournal) {
  const RunFolder folder = create_run_folder(root_ / "run");
  EXPECT_THROW((void)open_run_folder(folder.root), base::InputError);
  std::ofstream(folder.journal()) << "x";
  EXPECT_EQ(open_run_folder(folder.root).root, folder.root);
  EXPECT_EQ(open_run_folder(folder.journal()).root, folder.root);
  EXPECT_THROW((void)open_run_folder(root_ / "nothing"), base::InputError);
}

TEST_F(RunFolderTest, SeveralAreFoundInTheFolderThatHoldsThem) {
  for (const char* name : {"2", "1", "no-run"}) fs::create_directories(root_ / "night" / name);
  std::ofstream(root_ / "night" / "notes.txt") << "x";
  for (const char* name : {"2", "1"}) {
    std::ofstream(RunFolder{root_ / "night" / name}.journal()) << "x";
  }
  const std::vector<RunFolder> runs = open_run_folders(root_ / "night");
  ASSERT_EQ(runs.size(), 2U);
  EXPECT_EQ(runs[0].root, root_ / "night" / "1");
  EXPECT_EQ(open_run_folders(runs[1].root).at(0).root, runs[1].root);
  EXPECT_EQ(open_run_folders(runs[1].journal()).at(0).root, runs[1].root);
  EXPECT_THROW((void)open_run_folders(root_ / "night" / "no-run"), base::InputError);
  EXPECT_THROW((void)open_run_folders(root_ / "nothing"), base::InputError);
}

TEST_F(RunFolderTest, RefusesAFolderThatCannotBeCreated) {
  std::ofstream(root_ / "file") << "x";
  EXPECT_THROW((void)create_run_folder(root_ / "file" / "run"), base::InputError);
}

TEST_F(RunFolderTest, ReplacesAFileOnlyWhenTheNewOneIsWhole) {
  const fs::path path = root_ / "results.json";
  replace_file(path, "old");
  {
    FileReplacement dropped(path);
    dropped.write("half");
  }
  EXPECT_EQ(content(path), "old");
  replace_file(path, "new");
  EXPECT_EQ(content(path), "new");
  EXPECT_EQ(std::distance(fs::directory_iterator(root_), fs::directory_iterator()), 1);
}

TEST_F(RunFolderTest, NamesTheFileThatCannotBeWritten) {
  EXPECT_THROW(replace_file(root_ / "no" / "results.json", "x"), base::RigFault);
}

}  // namespace
}  // namespace plexor::run
