#include "app/keep_nights.hpp"

#include <fmt/format.h>

#include <chrono>
#include <system_error>

#include "base/calendar.hpp"
#include "base/error.hpp"
#include "base/wall_time.hpp"
#include "journal/outline.hpp"
#include "journal/sink.hpp"
#include "run/run_lock.hpp"

namespace plexor::app {

namespace {

namespace fs = std::filesystem;

/// Results that are older than the journal are those of an earlier part of it.
bool has_results_of_now(const run::RunFolder& folder) {
  std::error_code none;
  const auto results = fs::last_write_time(folder.results_json(), none);
  if (none || fs::file_size(folder.results_json(), none) == 0) return false;
  const auto journal = fs::last_write_time(folder.journal(), none);
  return !none && results >= journal;
}

/// By people's clocks when it began; in virtual time without any, by when it was made.
std::chrono::sys_days night_of(const journal::Outline& outline) {
  if (outline.segment && outline.segment->wall_ns != 0) {
    return base::WallTime{outline.segment->wall_ns, outline.segment->utc_offset_s}.night();
  }
  return base::day_of(outline.host ? outline.host->started_utc : "")
      .value_or(std::chrono::sys_days{});
}

run::RecordedRun recorded_run(const run::RunFolder& folder, const IsArchived& is_archived) {
  const journal::Outline outline = journal::outline_of(folder.journal());
  std::error_code none;
  run::RecordedRun run{.name = folder.root.filename().string(), .night = night_of(outline)};
  if (outline.ended() != nullptr && !run::is_live(folder.root)) run.ended = outline.ended()->reason;
  run.has_results = has_results_of_now(folder);
  run.has_waveforms = fs::exists(folder.waveforms(), none);
  if (is_archived) run.is_archived = is_archived(folder);
  return run;
}

std::uintmax_t remove_file(const fs::path& file) {
  std::error_code error;
  const std::uintmax_t bytes = fs::file_size(file, error);
  if (!error) fs::remove(file, error);
  if (!error) return bytes;
  throw base::RigFault(fmt::format("{}: can't be removed: {}; see who owns the folder",
                                   file.string(), error.message()));
}

/// The waveforms first: without the journal nobody could say what they show.
std::vector<fs::path> files_that_go(const run::RunFolder& folder, const run::Keeping& keeping) {
  std::vector<fs::path> files;
  if (keeping.removes_waveforms) files.push_back(folder.waveforms());
  if (!keeping.removes_journal) return files;
  const std::vector<fs::path> journal = journal::files_of_journal(folder.journal());
  files.insert(files.end(), journal.rbegin(), journal.rend());  // its begin last
  return files;
}

std::string names_of(const std::vector<fs::path>& files) {
  std::string names;
  for (const fs::path& file : files) {
    names += (names.empty() ? "" : " and ") + file.filename().string();
  }
  return names;
}

}  // namespace

std::vector<std::string> keep_nights(const fs::path& folder, const run::Retention& retention,
                                     bool only_says, const IsArchived& is_archived) {
  std::vector<std::string> said;
  std::vector<run::RunFolder> folders;
  std::vector<run::RecordedRun> runs;
  for (const run::RunFolder& one : run::open_run_folders(folder)) {
    std::error_code none;
    if (fs::is_symlink(one.root, none)) {  // what lies elsewhere may be somebody else's
      said.push_back(fmt::format("{}: kept whole, it is a link", one.root.filename().string()));
      continue;
    }
    try {
      runs.push_back(recorded_run(one, is_archived));
      folders.push_back(one);
    } catch (const base::InputError& unreadable) {
      said.push_back(fmt::format("{}: kept whole, it can't be read: {}",
                                 one.root.filename().string(), unreadable.what()));
    }
  }
  const std::vector<run::Keeping> kept = run::what_is_kept(runs, retention);
  for (std::size_t i = 0; i < runs.size(); ++i) {
    const std::vector<fs::path> files = files_that_go(folders[i], kept[i]);
    if (!kept[i].kept_because.empty()) {
      said.push_back(fmt::format("{}: kept whole, {}", runs[i].name, kept[i].kept_because));
    }
    if (files.empty()) continue;
    std::uintmax_t bytes = 0;
    for (const fs::path& file : files) bytes += only_says ? fs::file_size(file) : remove_file(file);
    said.push_back(fmt::format("{}: {} {} ({:.1f} MB)", runs[i].name, names_of(files),
                               only_says ? "would be removed" : "removed",
                               static_cast<double>(bytes) / 1e6));
  }
  return said;
}

}  // namespace plexor::app
