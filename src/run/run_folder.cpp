#include "run/run_folder.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <system_error>

#include "base/error.hpp"

namespace plexor::run {

namespace fs = std::filesystem;

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
  if (!names_journal || !fs::is_regular_file(folder.journal(), error)) {
    throw base::InputError({path.string(), 0, 0}, "no journal.jsonl",
                           "the folder of a run, or its journal.jsonl",
                           "name the folder that \"plexor run\" printed");
  }
  return folder;
}

std::vector<RunFolder> open_run_folders(const fs::path& path) {
  std::error_code error;
  std::vector<RunFolder> runs;
  const bool is_run = fs::exists(RunFolder{path}.journal(), error);
  for (fs::directory_iterator entry(path, error), end; !is_run && entry != end;
       entry.increment(error)) {
    if (fs::exists(RunFolder{entry->path()}.journal(), error)) runs.push_back({entry->path()});
  }
  std::ranges::sort(runs, {}, &RunFolder::root);
  if (runs.empty()) runs.push_back(open_run_folder(path));
  return runs;
}

}  // namespace plexor::run
