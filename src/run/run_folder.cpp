#include "run/run_folder.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <system_error>

#include "base/error.hpp"
#include "journal/sink.hpp"

namespace plexor::run {

namespace fs = std::filesystem;

namespace {

/// A power cut may leave one whose newest file is not there yet.
bool has_journal(const RunFolder& folder) {
  std::error_code error;
  const auto files = journal::files_of_journal(folder.journal());
  return !files.empty() && fs::is_regular_file(files.back(), error);
}

}  // namespace

fs::path RunFolder::truth_csv(std::uint32_t segment) const {
  return root / (segment == 0 ? "truth.csv" : fmt::format("truth-{}.csv", segment + 1));
}

RunFolder create_run_folder(const fs::path& root) {
  std::error_code error;
  fs::create_directories(root, error);
  if (error) {
    throw base::InputError({root.string(), 0, 0}, fmt::format("\"{}\"", error.message()),
                           "a folder that can be created for the run",
                           "choose another place with --out");
  }
  RunFolder folder{root};
  // Of an old run the results alone may be left.
  if (fs::exists(folder.journal(), error) || fs::exists(folder.results_json(), error)) {
    throw base::InputError({root.string(), 0, 0}, "a run that is there already",
                           "a new folder for a new run",
                           "choose another place with --out; recorded runs are never overwritten");
  }
  return folder;
}

RunFolder open_run_folder(const fs::path& path) {
  std::error_code error;
  RunFolder folder{fs::is_directory(path, error) ? path : path.parent_path()};
  const bool names_journal = folder.root == path || path == folder.journal();
  if (!names_journal || !has_journal(folder)) {
    throw base::InputError({path.string(), 0, 0}, "no journal.jsonl",
                           "the folder of a run, or its journal.jsonl",
                           "name the folder that \"plexor run\" printed");
  }
  return folder;
}

std::vector<RunFolder> run_folders_in(const fs::path& folder) {
  std::error_code error;
  std::vector<RunFolder> runs;
  for (fs::directory_iterator entry(folder, error), end; !error && entry != end;
       entry.increment(error)) {
    RunFolder run{entry->path()};
    if (fs::is_directory(run.root, error) && has_journal(run)) runs.push_back(std::move(run));
  }
  std::ranges::sort(runs, {}, &RunFolder::root);
  return runs;
}

std::vector<RunFolder> open_run_folders(const fs::path& path) {
  std::vector<RunFolder> runs;
  if (!has_journal(RunFolder{path})) runs = run_folders_in(path);
  if (runs.empty()) runs.push_back(open_run_folder(path));
  return runs;
}

}  // namespace plexor::run
