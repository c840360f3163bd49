#pragma once

#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

#include "journal/waveforms.hpp"

namespace plexor::run {

/// The files of one run. Everything but journal, waveforms, marks, truth and preparation can be
/// made again from them.
struct RunFolder {
  std::filesystem::path root;

  [[nodiscard]] std::filesystem::path journal() const { return root / "journal.jsonl"; }
  [[nodiscard]] std::filesystem::path results_json() const { return root / "results.json"; }
  [[nodiscard]] std::filesystem::path results_xml() const { return root / "results.xml"; }
  [[nodiscard]] std::filesystem::path trials_csv() const { return root / "trials.csv"; }
  /// What really happened on a virtual rig, in each segment. Nothing ever reads it but tests and
  /// people.
  [[nodiscard]] std::filesystem::path truth_csv(std::uint32_t segment = 0) const;
  /// What the commands said that made the devices ready.
  [[nodiscard]] std::filesystem::path prepared_txt() const { return root / "prepared.txt"; }
  /// What the channels showed; absent where the rig has none.
  [[nodiscard]] std::filesystem::path waveforms() const {
    return root / journal::waveform_file_name;
  }
  /// What people told of while it went on (marks.hpp); absent where nobody did.
  [[nodiscard]] std::filesystem::path marks() const { return root / "marks.jsonl"; }
  /// The summary that could not be posted yet.
  [[nodiscard]] std::filesystem::path unsent_json() const { return root / "unsent.json"; }
  [[nodiscard]] std::filesystem::path page() const { return root / "report.html"; }
};

/// Creates a folder (and its parents) for a new run. Throws base::InputError if
/// it holds a journal already or can't be created.
[[nodiscard]] RunFolder create_run_folder(const std::filesystem::path& root);

/// The folder of a finished or interrupted run; `path` is the folder or its
/// journal. Throws base::InputError if there is no journal.
[[nodiscard]] RunFolder open_run_folder(const std::filesystem::path& path);

/// The runs in this folder, in the order of their names; none where there is none, nor a folder.
[[nodiscard]] std::vector<RunFolder> run_folders_in(const std::filesystem::path& folder);

/// One run as open_run_folder() finds it, or, of a folder that holds several, all of them in the
/// order of their names. Throws base::InputError if there is none.
[[nodiscard]] std::vector<RunFolder> open_run_folders(const std::filesystem::path& path);

}  // namespace plexor::run
