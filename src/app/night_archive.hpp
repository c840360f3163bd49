#pragma once

#include <filesystem>
#include <string>

#include "analysis/results.hpp"
#include "run/run_folder.hpp"

namespace plexor::app {

/// The archive as a night uses it: nothing that goes wrong with it spoils the night. What can't be
/// put into it waits for the next one, and is said aside.
class NightArchive {
 public:
  explicit NightArchive(std::string url) : url_(std::move(url)) {}

  /// Puts each run in this folder into it that is over and not in it yet as it is now.
  void take_all_in(const std::filesystem::path& runs);
  /// This run was put into an archive since its results were made.
  [[nodiscard]] static bool has(const run::RunFolder& folder);
  /// What the last two weeks say together on this run's rig, surface and scenario, in a sentence.
  [[nodiscard]] std::string headline_of(const analysis::Results& results) const;

 private:
  std::string url_;
};

}  // namespace plexor::app
