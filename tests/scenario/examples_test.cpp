#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <iterator>

#include "scenario_texts.hpp"

namespace plexor::scenario {
namespace {

Scenario example(const std::string& name) {
  const std::string path = std::string(PLEXOR_SOURCE_DIR) + "/scenarios/" + name;
  std::ifstream file(path);
  EXPECT_TRUE(file) << path;
  return parse_scenario(std::string(std::istreambuf_iterator<char>(file), {}), path);
}

TEST(Examples, AllParse) {
  const std::filesystem::path folder = std::filesystem::path(PLEXOR_SOURCE_DIR) / "scenarios";
  int files = 0;
  for (const auto& entry : std::filesystem::directory_iterator(folder)) {
    if (entry.path().extension() != ".toml") continue;
    EXPECT_NO_THROW((void)example(entry.path().filename().string())) << entry.path();
    ++files;
  }
  EXPECT_GE(files, 3);
}

TEST(Examples, HaveOneForEachPurpose) {
  for (const auto* purpose : {"regression", "surface", "soak"}) {
    EXPECT_EQ(to_text(example(std::string(purpose) + ".toml").purpose), purpose);
  }
}

TEST(Examples, TakeAsLongAsTheirFirstLinesSay) {
  using namespace std::chrono_literals;
  EXPECT_NEAR(base::to_s(expected_duration(example("regression.toml"))), 2.5 * 3600, 900);
  EXPECT_NEAR(base::to_s(expected_duration(example("surface.toml"))), 1.2 * 3600, 600);
  EXPECT_NEAR(base::to_s(expected_duration(example("soak.toml"))), 12 * 3600, 1800);
}

}  // namespace
}  // namespace plexor::scenario
