#include "app/night_archive.hpp"

#include <fmt/format.h>

#include <system_error>

#include "analysis/history/trend.hpp"
#include "app/analyse_run.hpp"
#include "app/aside.hpp"
#include "archive/archive.hpp"
#include "base/error.hpp"
#include "run/file_replacement.hpp"
#include "run/run_lock.hpp"

namespace plexor::app {

namespace {

namespace fs = std::filesystem;

constexpr std::uint32_t nights_together = 14;

/// Says that a run has been put into an archive, and into which.
fs::path receipt_in(const run::RunFolder& folder) { return folder.root / "archived.txt"; }

bool waits_for_archive(const run::RunFolder& folder) {
  std::error_code none;
  return fs::exists(folder.results_json(), none) && !run::is_live(folder.root) &&
         !NightArchive::has(folder);
}

}  // namespace

bool NightArchive::has(const run::RunFolder& folder) {
  std::error_code error;
  const auto archived = fs::last_write_time(receipt_in(folder), error);
  if (error) return false;
  const auto made = fs::last_write_time(folder.results_json(), error);
  return !error && archived >= made;
}

void NightArchive::take_all_in(const fs::path& runs) try {
  archive::Archive archive(archive::address_of(url_));
  for (const run::RunFolder& folder : run::run_folders_in(runs)) {
    if (!waits_for_archive(folder)) continue;
    (void)archive.import(figures_in(folder));
    run::replace_file(receipt_in(folder), archive::address_of(url_).shown + "\n");
  }
} catch (const std::runtime_error& error) {
  say_aside("WARNING: not everything is in the archive: {}; the next night tries again\n",
            error.what());
}

std::string NightArchive::headline_of(const analysis::Results& results) const try {
  archive::Archive archive(archive::address_of(url_));
  archive::Query query;
  query.rig = results.header.rig.name;
  query.surface = results.header.rig.surface;
  query.scenario = results.scenario_name;
  query.newest_nights = nights_together;
  return analysis::trend_of(archive.find(query)).headline;
} catch (const std::runtime_error& error) {
  return fmt::format("What has changed since the nights before can't be said: {}", error.what());
}

}  // namespace plexor::app
