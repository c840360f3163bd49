#include <fmt/format.h>

#include <memory>
#include <set>
#include <string>
#include <vector>

#include "analysis/history/trend.hpp"
#include "app/archive_option.hpp"
#include "app/commands.hpp"
#include "app/make_reports.hpp"
#include "app/text_file.hpp"
#include "archive/archive.hpp"
#include "base/calendar.hpp"
#include "base/error.hpp"
#include "report/text.hpp"
#include "report/trend.hpp"
#include "run/file_replacement.hpp"

namespace plexor::app {

namespace {

struct TrendOptions {
  std::string archive = default_archive;
  archive::Query query;
  std::string page;
  bool json = false;
};

void check_night(const std::string& night, const std::string& option) {
  if (night.empty() || base::day_of(night)) return;
  throw base::InputError({option, 0, 0}, fmt::format("\"{}\"", night), "a day, as 2026-06-11");
}

/// "surface "oak counter, 38 mm, oiled"; rig "oak-bench"": what could have been asked for.
std::string what_it_holds(archive::Archive& archive) {
  std::set<std::string> surfaces;
  std::set<std::string> rigs;
  std::set<std::string> scenarios;
  archive::Query all;
  all.with_lifted = true;
  for (const analysis::RunFigures& run : archive.find(all)) {
    surfaces.insert('"' + report::printable_line(run.surface) + '"');
    rigs.insert('"' + report::printable_line(run.rig) + '"');
    scenarios.insert('"' + report::printable_line(run.scenario) + '"');
  }
  if (rigs.empty()) return "none: the archive is empty";
  return fmt::format("surface {}; rig {}; scenario {}", fmt::join(surfaces, ", "),
                     fmt::join(rigs, ", "), fmt::join(scenarios, ", "));
}

ExitCode show_trend(const TrendOptions& options) {
  check_night(options.query.from_night, "--from");
  check_night(options.query.to_night, "--to");
  if (!options.page.empty()) check_page(options.page, "--page");
  const archive::Address address = existing_archive(options.archive);
  archive::Archive archive(address);
  const std::vector<analysis::RunFigures> runs = archive.find(options.query);
  if (runs.empty()) {
    throw base::InputError({address.shown, 0, 0}, "no run that was asked for",
                           "some of " + what_it_holds(archive),
                           "ask for less, or put runs into it with \"plexor archive\"");
  }
  const bool of_some_devices = !options.query.release.empty() || !options.query.unit.empty();
  const analysis::Trend trend = analysis::trend_of(runs, {.first_night = options.query.from_night,
                                                          .last_night = options.query.to_night,
                                                          .tells_missing = !of_some_devices});
  if (!options.page.empty()) run::replace_file(options.page, report::trend_page(trend));
  fmt::print("{}", options.json ? report::trend_json(trend)
                                : report::trend_text(trend, style_of_stdout()));
  return trend.findings.empty() ? ExitCode::pass : ExitCode::fail;
}

}  // namespace

CommandBody add_trend_command(CLI::App& parser) {
  const auto options = std::make_shared<TrendOptions>();
  add_archive_option(parser, options->archive);
  parser.add_option("--release", options->query.release, "Of devices with this version");
  parser.add_option("--unit", options->query.unit, "Of this device");
  parser.add_option("--rig", options->query.rig, "On the rig of this name");
  parser.add_option("--surface", options->query.surface, "On this surface");
  parser.add_option("--scenario", options->query.scenario, "Of the scenario of this name");
  parser.add_option("--from", options->query.from_night, "From this night on, as 2026-06-11");
  parser.add_option("--to", options->query.to_night, "Up to this night");
  parser.add_option("--nights", options->query.newest_nights, "The newest so many")
      ->check(CLI::Range(1, 100'000));
  parser.add_option("--page", options->page, "Write a page with all charts and tables here");
  parser.add_flag("--json", options->json, "Print all of it as JSON");
  parser.footer(
      "Names each night on which something happened, and why: holes, broken devices, steps and\n"
      "drifts. Exit code 0: nothing; 1: something. Of an unchanging history anything is named\n"
      "in one case of twenty.\n"
      "Example: plexor trend --nights 30 --page trend.html");
  return [options] { return show_trend(*options); };
}

}  // namespace plexor::app
