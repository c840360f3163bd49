#pragma once

#include <memory>
#include <string>
#include <vector>

#include "analysis/analyse.hpp"
#include "journal/records.hpp"
#include "run/file_replacement.hpp"
#include "scenario/scenario.hpp"

namespace plexor::app {

/// Streams trials.csv while a journal is analysed; takes the old file's place at finish().
class CsvFile {
 public:
  explicit CsvFile(const std::filesystem::path& path);

  void begin(const journal::Header& header);
  void append(const analysis::TrialRow& row);
  void finish();

 private:
  run::FileReplacement file_;
  std::string buffer_;
  journal::Header header_;
  scenario::Scenario scenario_;
};

}  // namespace plexor::app
