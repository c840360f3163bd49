#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "app/job.hpp"
#include "journal/waveforms.hpp"
#include "journal/writer.hpp"
#include "run/run_folder.hpp"

namespace plexor::app {

/// What a user asked `run` for.
struct RunOptions {
  std::string scenario;
  std::string rig;
  std::string out;
  bool lifted = false;
  bool arm = false;  ///< armed after a countdown instead of a key press
  bool json = false;
};

/// What a real rig and its computer are like at the start of a run; nothing of it in virtual time.
struct LiveFacts {
  std::string scheduling{};  ///< what the pulses' thread was granted
  /// For each device and each of its listeners, see journal::WayFacts.
  std::vector<std::vector<base::Duration>> arrival_widths{};
};

/// The folder of a new run with its journal, which has its first records: the
/// header, the host and the segment; and with a file of waveforms where the rig has channels.
struct BegunRun {
  run::RunFolder folder;
  journal::Writer journal;
  std::optional<journal::WaveformWriter> waveforms{};

  /// Each survives this process at once, and a power cut once the run has ended.
  void keep(const journal::WaveRecord& wave);
  /// Makes the waveforms survive a power cut.
  void finish();
};
[[nodiscard]] BegunRun begin_run(const Job& job, const RunOptions& options,
                                 const journal::Segment& segment, const LiveFacts& live = {});

}  // namespace plexor::app
