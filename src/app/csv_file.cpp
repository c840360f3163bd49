#include "app/csv_file.hpp"

#include "report/csv.hpp"

namespace plexor::app {

namespace {

constexpr std::size_t write_from = 1U << 20U;

}  // namespace

CsvFile::CsvFile(const std::filesystem::path& path) : file_(path) {}

void CsvFile::begin(const journal::Header& header) {
  header_ = header;
  scenario_ = scenario::parse_scenario(header.scenario_text, header.scenario_file);
  buffer_ = report::trials_csv_header();
}

void CsvFile::append(const analysis::TrialRow& row) {
  report::append_trial_rows(buffer_, header_, scenario_, row);
  if (buffer_.size() < write_from) return;
  file_.write(buffer_);
  buffer_.clear();
}

void CsvFile::finish() {
  file_.write(buffer_);
  file_.commit();
}

}  // namespace plexor::app
