#include <fmt/format.h>

#include <chrono>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <utility>

#include "app/analyse_run.hpp"
#include "app/archive_option.hpp"
#include "app/aside.hpp"
#include "app/commands.hpp"
#include "app/job.hpp"
#include "app/rig_loading.hpp"
#include "app/run_process.hpp"
#include "app/stop_signals.hpp"
#include "archive/archive.hpp"
#include "archive/queue.hpp"
#include "base/error.hpp"
#include "journal/sink.hpp"
#include "lines/lines.hpp"
#include "report/text.hpp"
#include "run/file_replacement.hpp"

namespace plexor::app {

namespace {

namespace fs = std::filesystem;
using namespace std::chrono_literals;
using archive::Claim;
using archive::Finish;

struct WorkOptions {
  std::string archive = default_archive;
  std::string rig;
  std::string out;
  unsigned lease_s = 60;
  bool until_empty = false;
};

/// Of another archive's item of this number a run may lie there.
fs::path free_folder(const fs::path& out, const Claim& claim) {
  const std::string name = fmt::format("item-{}-{}", claim.item, claim.attempt);
  std::error_code none;
  fs::path folder = out / name;
  for (int again = 2; fs::exists(folder, none); ++again) {
    folder = out / fmt::format("{}_{}", name, again);
  }
  return folder;
}

constexpr base::Duration look_again = 1s;
constexpr base::Duration look_for_end_of_run = 20ms;

/// One rig at the queue. The run is a process of its own, so that the lease is renewed in time
/// whatever the run does.
class Worker {
 public:
  explicit Worker(const WorkOptions& options)
      : options_(options),
        lease_(std::chrono::seconds(options.lease_s)),
        who_(claimant_of(options.rig)),
        archive_(archive::address_of(options.archive)),
        queue_(archive_) {}

  ExitCode work();

 private:
  /// How an item left this rig's hands.
  enum class Left : std::uint8_t { done, interrupted, fault };

  static archive::Claimant claimant_of(const std::string& rig_file) {
    const rig::RigFile rig = load_rig(rig_file).rig;
    return {rig.name, rig.setting.surface};
  }
  Left do_item(const Claim& claim);
  /// Nothing if the lease was lost meanwhile.
  std::optional<int> run_beside_heartbeat(const Claim& claim, const fs::path& scenario,
                                          const fs::path& folder);
  bool renew(const Claim& claim);
  /// Once: work that waits for another rig looks like none.
  void tell_of_others_work();
  Left hand_in(const Claim& claim, const fs::path& folder, int exit_code);
  Left give_back(const Claim& claim, Left why);
  void record(const Claim& claim, const analysis::RunFigures& run);

  const WorkOptions& options_;
  std::chrono::milliseconds lease_;
  archive::Claimant who_;
  archive::Archive archive_;
  archive::Queue queue_;
  StopSignals stop_{};
  bool has_told_of_others_ = false;
};

ExitCode Worker::work() {
  while (!stop_.requested()) {
    const std::optional<Claim> claim = queue_.claim(who_, lease_);
    if (!claim) {
      if (options_.until_empty && queue_.open_for(who_) == 0) return ExitCode::pass;
      tell_of_others_work();
      lines::kernel_nap(look_again);
      continue;
    }
    fmt::print("item {}, attempt {}: {}\n", claim->item, claim->attempt, claim->scenario);
    (void)std::fflush(stdout);  // before the run's own words
    if (do_item(*claim) == Left::fault) return ExitCode::fault;
  }
  return ExitCode::undecided;
}

void Worker::tell_of_others_work() {
  if (std::exchange(has_told_of_others_, true)) return;
  for (const archive::WorkItem& item : queue_.list()) {
    const bool is_ours = (item.work.rig.empty() || item.work.rig == who_.rig) &&
                         (item.work.surface.empty() || item.work.surface == who_.surface);
    if (item.state != archive::WorkState::waiting || is_ours) continue;
    say_aside("item {} waits for rig \"{}\" and surface \"{}\"; here are \"{}\" and \"{}\"\n",
              item.item, report::printable_line(item.work.rig),
              report::printable_line(item.work.surface), who_.rig, who_.surface);
  }
}

Worker::Left Worker::do_item(const Claim& claim) {
  const fs::path folder = free_folder(options_.out, claim);
  std::error_code unmade;  // writing the scenario tells it then
  fs::create_directories(folder, unmade);
  const fs::path scenario = folder / "scenario.toml";
  run::replace_file(scenario, claim.scenario_text);
  try {
    (void)load_job(scenario, options_.rig);
  } catch (const base::InputError& error) {
    say_aside("item {}: {}\n", claim.item, error.what());
    queue_.refuse(claim, error.what());
    return Left::done;
  }
  const std::optional<int> exit_code = run_beside_heartbeat(claim, scenario, folder);
  if (exit_code) return hand_in(claim, folder, *exit_code);
  say_aside("item {}: the lease was lost; another rig has the item; this run is kept in {}\n",
            claim.item, folder.string());
  return Left::done;
}

std::optional<int> Worker::run_beside_heartbeat(const Claim& claim, const fs::path& scenario,
                                                const fs::path& folder) {
  RunProcess run({"run", scenario.string(), "--rig", options_.rig, "--out", folder.string()});
  constexpr int beats_per_lease = 3;
  lines::KernelInstant next_beat = lines::kernel_now() + lease_ / beats_per_lease;
  bool is_ours = true;
  bool was_asked = false;
  while (!run.exit_code()) {
    lines::kernel_nap(look_for_end_of_run);
    if (is_ours && lines::kernel_now() >= next_beat) {
      is_ours = renew(claim);
      next_beat = lines::kernel_now() + lease_ / beats_per_lease;
    }
    if (was_asked || (is_ours && !stop_.requested())) continue;
    run.ask_to_stop();
    was_asked = true;
  }
  return is_ours ? run.exit_code() : std::nullopt;
}

/// A database that does not answer is no reason to stop a run: it may be back before the lease
/// ends.
bool Worker::renew(const Claim& claim) {
  try {
    return queue_.renew(claim, lease_);
  } catch (const base::RigFault& fault) {
    say_aside("WARNING: the lease of item {} was not renewed: {}\n", claim.item, fault.what());
    return true;
  }
}

Worker::Left Worker::hand_in(const Claim& claim, const fs::path& folder, int exit_code) {
  if (exit_code == static_cast<int>(ExitCode::wrong_usage)) {
    queue_.refuse(claim, "plexor run refused it; its reason is in the worker's output");
    return Left::done;
  }
  const bool has_begun = !journal::files_of_journal(run::RunFolder{folder}.journal()).empty();
  if (!has_begun) return give_back(claim, Left::fault);
  const analysis::RunFigures run = figures_in(run::open_run_folder(folder));
  if (run.ended == to_text(journal::Ended::Reason::interrupted)) {
    return give_back(claim, Left::interrupted);
  }
  const bool has_answer = run.ended == to_text(journal::Ended::Reason::complete) ||
                          run.ended == to_text(journal::Ended::Reason::too_many_voids);
  if (!has_answer) return give_back(claim, Left::fault);
  record(claim, run);
  return Left::done;
}

Worker::Left Worker::give_back(const Claim& claim, Left why) {
  queue_.give_back(claim);
  say_aside("item {}: {}; the item is back in the queue\n", claim.item,
            why == Left::fault ? "the rig has a fault: see to it, then begin again"
                               : "the run was interrupted");
  return why;
}

/// As long as a lease it waits for a database that does not answer; then the item is another's.
void Worker::record(const Claim& claim, const analysis::RunFigures& run) {
  const lines::KernelInstant give_up = lines::kernel_now() + lease_;
  while (true) {
    try {
      const Finish finish = queue_.finish(claim, run);
      if (finish == Finish::recorded) return;
      say_aside("item {}: not recorded: {}; this run is kept in {}\n", claim.item,
                finish == Finish::recorded_already ? "it is recorded already, by another rig"
                                                   : "another rig has it now",
                run.folder);
      return;
    } catch (const base::RigFault& fault) {
      if (lines::kernel_now() >= give_up || stop_.requested()) throw;
      say_aside("WARNING: item {} is not recorded yet: {}\n", claim.item, fault.what());
      lines::kernel_nap(look_again);
    }
  }
}

}  // namespace

CommandBody add_work_command(CLI::App& parser) {
  const auto options = std::make_shared<WorkOptions>();
  add_archive_option(parser, options->archive);
  parser.add_option("--rig", options->rig, "Rig file: what to do it with")->required();
  parser.add_option("--out", options->out, "Folder for the runs, each in one of its own")
      ->required();
  parser.add_flag("--until-empty", options->until_empty,
                  "End when nothing is left that this rig may do; else wait for more");
  parser
      .add_option("--lease-s", options->lease_s,
                  "So long after its last sign of life a rig counts as lost")
      ->check(CLI::Range(1, 3600))
      ->capture_default_str();
  parser.footer(
      "On a rig of kind \"lines\" this moves the tapper, with the leave of \"plexor arm\".\n"
      "Example: plexor work --archive postgresql://plexor@kiln/lab --rig rig/north.toml --out "
      "runs\n"
      "Exit code 0: the queue is empty; 3: the rig has a fault, its item is back in the queue;\n"
      "4: stopped.");
  return [options] { return Worker(*options).work(); };
}

}  // namespace plexor::app
