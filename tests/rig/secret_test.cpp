#include "rig/network/secret.hpp"
#include "rig/temporary_folder.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/stat.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>

#include "base/error.hpp"

namespace plexor::rig {
namespace {

namespace fs = std::filesystem;
using ::testing::AllOf;
using ::testing::HasSubstr;
using ::testing::Not;

class SecretTest : public ::testing::Test {
 protected:
  ~SecretTest() override { fs::remove_all(folder_); }

  [[nodiscard]] SecretPlace written(const std::string& text, mode_t mode = 0600) const {
    const std::string path = folder_ / "secret";
    std::ofstream(path, std::ios::binary) << text;
    chmod(path.c_str(), mode);
    return {.file = path};
  }
  static std::string complaint(const SecretPlace& place) {
    try {
      (void)read_secret(place);
    } catch (const base::InputError& error) {
      return error.what();
    }
    return "no error";
  }

  fs::path folder_ = make_temporary_folder("secret");
};

TEST_F(SecretTest, IsALineOfAFile) {
  EXPECT_EQ(read_secret(written("kiln-2f61c0")), "kiln-2f61c0");
  EXPECT_EQ(read_secret(written("kiln-2f61c0\n", 0400)), "kiln-2f61c0");
  EXPECT_EQ(read_secret(written("kiln 2f61c0 \r\n")), "kiln 2f61c0 ");
  const std::string longest(500, 'a');
  EXPECT_EQ(read_secret(written(longest + "\r\n")), longest);
}

TEST_F(SecretTest, IsAVariableOfTheEnvironment) {
  setenv("PLEXOR_TEST_SECRET", "kiln-2f61c0", 1);
  EXPECT_EQ(read_secret({.variable = "PLEXOR_TEST_SECRET"}), "kiln-2f61c0");
  setenv("PLEXOR_TEST_SECRET", "", 1);
  EXPECT_THAT(complaint({.variable = "PLEXOR_TEST_SECRET"}), HasSubstr("PLEXOR_TEST_SECRET"));
  unsetenv("PLEXOR_TEST_SECRET");
  EXPECT_THAT(complaint({.variable = "PLEXOR_TEST_SECRET"}),
              AllOf(HasSubstr("PLEXOR_TEST_SECRET"), HasSubstr("environment")));
}

TEST_F(SecretTest, OthersMustNotReachIt) {
  for (const mode_t mode : {0640U, 0604U, 0620U, 0602U, 0610U, 0777U}) {
    EXPECT_THAT(complaint(written("kiln-2f61c0", mode)),
                AllOf(HasSubstr("chmod 600"), HasSubstr("others"), Not(HasSubstr("2f61c0"))));
  }
}

TEST_F(SecretTest, IsOneLineAndNoMore) {
  const auto refused = AllOf(HasSubstr("secret"), Not(HasSubstr("2f61c0")));
  for (const char* text : {"", "\n", "kiln\n2f61c0\n", "\nkiln"}) {
    EXPECT_THAT(complaint(written(text)), refused);
  }
  EXPECT_THAT(complaint(written("kiln" + std::string(1, '\0') + "2f61c0")), refused);
  EXPECT_THAT(complaint(written(std::string(501, 'a'))), refused);
  EXPECT_THAT(complaint(written(std::string(100'000, 'a'))), refused);
}

TEST_F(SecretTest, IsNoFolderAndNoPipe) {
  EXPECT_THAT(complaint({.file = folder_}), HasSubstr("regular"));
  const std::string pipe = folder_ / "pipe";
  ASSERT_EQ(mkfifo(pipe.c_str(), 0600), 0);
  EXPECT_THAT(complaint({.file = pipe}), HasSubstr("regular"));
  EXPECT_THAT(complaint({.file = folder_ / "none"}), HasSubstr("none"));
}

}  // namespace
}  // namespace plexor::rig
