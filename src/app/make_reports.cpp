#include "app/make_reports.hpp"

#include <fmt/format.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include <cstdio>
#include <cstdlib>

#include "app/analyse_run.hpp"
#include "app/csv_file.hpp"
#include "report/json.hpp"
#include "report/junit.hpp"
#include "report/page.hpp"
#include "report/terminal.hpp"

namespace plexor::app {

report::Style style_of_stdout() {
  const bool terminal = isatty(STDOUT_FILENO) == 1;
  const char* no_color = std::getenv("NO_COLOR");
  winsize size{};
  const bool known = terminal && ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col > 0;
  return {.colour = terminal && (no_color == nullptr || *no_color == '\0'),
          .width = known ? size.ws_col : 80};
}

analysis::Results make_reports(const run::RunFolder& folder) {
  CsvFile csv(folder.trials_csv());
  analysis::Results results = analyse_run_and_waveforms(
      folder, [&](const analysis::TrialRow& row) { csv.append(row); },
      [&](const journal::Header& header) { csv.begin(header); });
  csv.finish();
  run::replace_file(folder.results_json(), report::results_json(results));
  run::replace_file(folder.results_xml(), report::junit_xml(results));
  run::replace_file(folder.page(), report::report_page(results));
  return results;
}

void print_results(const run::RunFolder& folder, const analysis::Results& results, bool as_json) {
  if (as_json) {
    fmt::print("{}", report::results_json(results));
    return;
  }
  fmt::print("{}\nreport: {}\n", report::summary(results, style_of_stdout()),
             folder.page().string());
}

}  // namespace plexor::app
