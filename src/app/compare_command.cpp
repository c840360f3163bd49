#include <fmt/format.h>

#include <algorithm>
#include <memory>
#include <string>
#include <vector>

#include "analysis/comparing/compare.hpp"
#include "app/analyse_run.hpp"

#include "app/commands.hpp"
#include "app/make_reports.hpp"
#include "app/text_file.hpp"
#include "report/comparison.hpp"
#include "report/comparison_page.hpp"
#include "run/file_replacement.hpp"

namespace plexor::app {

namespace {

struct CompareOptions {
  std::string base;
  std::string candidate;
  bool json = false;
  std::string page;
  std::uint32_t bisect = 0;
};

ExitCode exit_code_of(analysis::Relation relation, bool bisects) {
  switch (relation) {
    case analysis::Relation::better:
    case analysis::Relation::no_worse: return ExitCode::pass;
    case analysis::Relation::worse: return ExitCode::fail;
    case analysis::Relation::undecided: break;
  }
  return bisects ? ExitCode::bisect_skip : ExitCode::undecided;
}

ExitCode compare_runs(const CompareOptions& options) {
  if (!options.page.empty()) check_page(options.page, "--page");
  const auto base = evidence_in(options.base);
  const auto candidate = evidence_in(options.candidate);
  const analysis::Comparison comparison =
      analysis::compare(base, candidate, std::max(options.bisect, 1U));
  if (!options.page.empty()) {
    run::replace_file(options.page, report::comparison_page(comparison));
  }
  fmt::print("{}", options.json ? report::comparison_json(comparison)
                                : report::comparison_text(comparison, style_of_stdout()));
  return exit_code_of(comparison.overall, options.bisect > 0);
}

}  // namespace

CommandBody add_compare_command(CLI::App& parser) {
  const auto options = std::make_shared<CompareOptions>();
  parser.add_option("BASE", options->base, "Run of the release before, or a folder with several")
      ->required();
  parser.add_option("CANDIDATE", options->candidate, "Run of the release now, or several")
      ->required();
  parser.add_flag("--json", options->json, "Print one JSON document instead of text");
  parser.add_option("--page", options->page,
                    "Also write a page (.html) with both releases side by side");
  parser
      .add_option("--bisect", options->bisect,
                  "One of so many steps of a bisection: each may err that much less, and the exit "
                  "code is 0 good, 1 bad, 125 undecided, 128 anything else")
      ->check(CLI::Range(1, 100));
  parser.footer(
      "Example: plexor compare reports/runs/release-1 reports/runs/release-2 --page compared.html\n"
      "Exit code 0: no worse, or better; 1: worse; 4: undecided; 2: not comparable.");
  return [options] { return compare_runs(*options); };
}

}  // namespace plexor::app
