#include "archive/content_hash.hpp"

#include <gtest/gtest.h>

#include <functional>
#include <set>

#include "archive/bench.hpp"

namespace plexor::archive {
namespace {

using analysis::RunFigures;

TEST(ContentHash, IsTheSameOnEveryMachine) {
  // Worked out once by Python's uuid.uuid5 (RFC 4122, 4.3) from the canonical text.
  EXPECT_EQ(content_hash(plain_run("a")), "1133f041-7f06-5de6-9434-c2190b3ed94e");
}

TEST(ContentHash, TheFolderDoesNotCount) {
  RunFigures moved = plain_run("a");
  moved.folder = "elsewhere";
  EXPECT_EQ(content_hash(moved), content_hash(plain_run("a")));
}

TEST(ContentHash, EverythingElseCounts) {
  const std::vector<std::function<void(RunFigures&)>> changes{
      [](RunFigures& run) { run.run_id = "b"; },
      [](RunFigures& run) { run.seed = 1; },
      [](RunFigures& run) { run.lifted = true; },
      [](RunFigures& run) { run.utc_offset_s = 3600; },
      [](RunFigures& run) { run.duration_s = 1e-300; },
      [](RunFigures& run) { run.transit_ms = 0.0; },
      [](RunFigures& run) { run.transit_sd_ms = 0.0; },
      [](RunFigures& run) { run.holes.push_back({}); },
      [](RunFigures& run) { run.holes.push_back({.cause = analysis::Hole::Cause::fault}); },
      [](RunFigures& run) { run.devices.push_back(run.devices[0]); },
      [](RunFigures& run) { run.devices[0].by_hour[4].incidents = 1; },
      [](RunFigures& run) { run.devices[0].by_hour[5].incidents = 1; },
      [](RunFigures& run) { run.devices[0].detection_z = 0.0; },
      [](RunFigures& run) { run.scenario += "\nrig=5:"; },
  };
  std::set<std::string> hashes{content_hash(plain_run("a"))};
  for (const auto& change : changes) {
    RunFigures run = plain_run("a");
    change(run);
    hashes.insert(content_hash(run));
  }
  EXPECT_EQ(hashes.size(), changes.size() + 1);
}

}  // namespace
}  // namespace plexor::archive
