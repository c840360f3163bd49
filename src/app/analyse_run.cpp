#include "app/analyse_run.hpp"

#include <filesystem>
#include <optional>

#include "analysis/history/figures_of.hpp"
#include "analysis/signal/signal_gatherer.hpp"
#include "app/progress_bar.hpp"
#include "journal/reader.hpp"
#include "run/run_lock.hpp"

namespace plexor::app {

analysis::Results analyse_run(const run::RunFolder& folder,
                              const std::function<void(const analysis::TrialRow&)>& row,
                              const std::function<void(const journal::Header&)>& header) {
  analysis::Analysis analysis(row);
  ProgressBar bar("reading");
  const auto take = [&](const journal::Entry& entry) {
    const auto* first = std::get_if<journal::Header>(&entry.record);
    if (first != nullptr && header) header(*first);
    analysis.take(entry);
  };
  const bool is_live = run::is_live(folder.root);  // asked first: a run that ends meanwhile says so
  return analysis.finish(
      journal::read_journal(folder.journal(), take, [&bar](double share) { bar.show(share); }),
      is_live);
}

analysis::Results analyse_run_and_waveforms(
    const run::RunFolder& folder, const std::function<void(const analysis::TrialRow&)>& row,
    const std::function<void(const journal::Header&)>& header) {
  std::optional<analysis::SignalGatherer> signals;
  analysis::Results results = analyse_run(
      folder,
      [&](const analysis::TrialRow& one) {
        if (row) row(one);
        if (signals) signals->take(one);
      },
      [&](const journal::Header& first) {
        if (header) header(first);
        if (!first.rig.channels.empty()) signals.emplace(first);
      });
  if (!signals || !std::filesystem::exists(folder.waveforms())) return results;
  results.waveforms_reading = journal::read_waveforms(
      folder.waveforms(), [&](const journal::WaveRecord& wave) { signals->take(wave); });
  results.channels = signals->finish();
  return results;
}

analysis::RunFigures figures_in(const run::RunFolder& folder) {
  analysis::RunFigures figures = analysis::figures_of(analyse_run(folder, {}));
  figures.folder = std::filesystem::absolute(folder.root).lexically_normal().string();
  return figures;
}

std::vector<analysis::RunEvidence> evidence_in(const std::string& path) {
  std::vector<analysis::RunEvidence> group;
  for (const run::RunFolder& folder : run::open_run_folders(path)) {
    analysis::EvidenceGatherer gatherer;
    const analysis::Results results =
        analyse_run(folder, [&](const analysis::TrialRow& row) { gatherer.take(row); });
    group.push_back(gatherer.finish(folder.root.string(), results));
  }
  return group;
}

}  // namespace plexor::app
