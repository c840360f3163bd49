#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "app/job.hpp"
#include "journal/waveforms.hpp"
#include "journal/writer.hpp"
#include "run/ledger.hpp"
#include "run/run_folder.hpp"
#include "run/run_lock.hpp"

namespace plexor::app {

/// Where runs go unless told otherwise.
inline constexpr const char* default_runs_folder = "reports/runs";

/// Of a run in virtual time.
inline constexpr const char* virtual_boot = "virtual";

/// Who told of a disturbance that a person marked.
inline constexpr const char* by_hand = "hand";

/// What a user asked `run` for.
struct RunOptions {
  std::string scenario;
  std::string rig;
  std::string out;  ///< folder of the run; empty: a dated one in `runs`
  std::string runs = default_runs_folder;
  std::string resume;  ///< folder of the interrupted run that goes on; empty: a new one
  std::optional<std::uint64_t> seed{};  ///< instead of the scenario's
  bool lifted = false;
  bool arm = false;  ///< armed after a countdown instead of a key press
  bool json = false;
  std::string clock;  ///< in virtual time: what people's clocks say when it begins
};

/// What a real rig and its computer are like at the start of a run; nothing of it in virtual time.
struct LiveFacts {
  std::string scheduling{};  ///< what the pulses' thread was granted
  /// For each device and each of its listeners, see journal::WayFacts.
  std::vector<std::vector<base::Duration>> arrival_widths{};
};

/// An interrupted run that is to go on: nobody else can meanwhile.
struct InterruptedRun {
  run::RunLock lock;
  run::RunFolder folder;
  journal::Header header;
};
/// Takes up an interrupted run: cuts what was not written to its end off its files, and says so.
/// Throws base::InputError for a run that still goes on or is complete, and for what is none.
[[nodiscard]] InterruptedRun take_up_run(const std::string& path);

/// The folder of a run with its journal, which has the first records of its segment: the
/// header and the host, in the first one; and with a file of waveforms where the rig has channels.
struct BegunRun {
  run::RunLock lock;
  run::RunFolder folder;
  journal::Writer journal;
  std::optional<journal::WaveformWriter> waveforms{};
  std::uint32_t segment = 0;            ///< 0 in a new run
  std::optional<run::Ledger> so_far{};  ///< of earlier segments; refers to the job
  std::uint64_t marks_known = 0;        ///< by hand, that stand in earlier segments

  /// Each survives this process at once, and a power cut once the run has ended.
  void keep(const journal::WaveRecord& wave);
  /// Makes the waveforms survive a power cut.
  void finish();
};
/// Begins a new run, or goes on with `interrupted` in a new segment.
[[nodiscard]] BegunRun begin_or_go_on(const Job& job, const RunOptions& options,
                                      std::optional<InterruptedRun> interrupted,
                                      const journal::Segment& segment, const LiveFacts& live = {});

}  // namespace plexor::app
