#pragma once

#include <filesystem>

#include "run/file_replacement.hpp"
#include "virtual/virtual_rig.hpp"

namespace plexor::app {

/// truth.csv: one row for each thing that really happened on a virtual rig. It
/// lies beside the journal for tests and curious people; no report reads it.
class TruthFile {
 public:
  explicit TruthFile(const std::filesystem::path& path);

  void append(const virtual_rig::Truth& truth);
  void finish();

 private:
  run::FileReplacement file_;
};

}  // namespace plexor::app
