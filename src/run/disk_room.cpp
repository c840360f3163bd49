#include "run/disk_room.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <system_error>
#include <variant>

#include "base/error.hpp"
#include "run/capture.hpp"

namespace plexor::run {

namespace {

namespace fs = std::filesystem;

// Measured on journals of long runs, whose instants have more digits, and rounded up.
constexpr std::uint64_t header_bytes = 20'000;  ///< with the full text of scenario and rig
constexpr std::uint64_t trial_bytes = 280;      ///< what is planned, and that it was done
constexpr std::uint64_t tap_bytes = 95;         ///< in both
constexpr std::uint64_t event_bytes = 120;
constexpr std::uint64_t kept_line_bytes = 160;
constexpr std::uint64_t sample_bytes = 1;  ///< FORMAT.md
constexpr std::uint64_t quiet_bin_bytes = 2;
constexpr std::uint64_t page_bytes = 1'500'000;
constexpr std::uint64_t table_row_bytes = 130;  ///< a trial of one device in trials.csv
constexpr std::uint64_t truth_bytes = 130;      ///< of a tap on a virtual rig: contact and clicks

double mb(std::uint64_t bytes) { return static_cast<double>(bytes) / 1e6; }

/// Stretches of quiet.
std::uint64_t quiet_trials_of(const scenario::Scenario& scenario) {
  std::uint64_t trials = 0;
  for (const scenario::Block& block : scenario.blocks) trials += block.quiet ? block.trials : 0;
  return trials;
}

/// Of one answer that each listener of each device hears.
std::uint64_t answer_bytes(const rig::RigFile& rig) {
  std::uint64_t bytes = 0;
  for (const rig::Device& device : rig.devices) {
    if (device.listeners.empty()) bytes += event_bytes;
    for (const rig::ListenerSettings& listener : device.listeners) {
      const rig::ReportFormat* format = listener.format();
      bytes += event_bytes + (format != nullptr && format->keep_lines ? kept_line_bytes : 0);
    }
  }
  return bytes;
}

base::Duration quiet_time_of(const scenario::Scenario& scenario) {
  base::Duration time{};
  for (const scenario::Block& block : scenario.blocks) {
    if (block.quiet) time += (block.trials - 1) * block.window + block.last_window;
  }
  return time;
}

/// How long a channel's samples are kept, over all trials.
base::Duration kept_time_of(const scenario::Scenario& scenario) {
  base::Duration time{};
  for (const scenario::Block& block : scenario.blocks) {
    if (block.quiet) continue;
    const base::Duration tail = std::min(block.window, Capture::longest_tail);
    time += block.trials * (Capture::lead + scenario.rhythms[block.rhythm].length() + tail);
  }
  return time;
}

std::uint64_t waveform_bytes(const scenario::Scenario& scenario, const rig::RigFile& rig) {
  const auto bins = static_cast<std::uint64_t>(quiet_time_of(scenario) / Capture::bin);
  const base::Duration kept = kept_time_of(scenario);
  std::uint64_t bytes = 0;
  for (const rig::Channel& channel : rig.channels) {
    bytes += static_cast<std::uint64_t>(kept / channel.period()) * sample_bytes;
    bytes += bins * quiet_bin_bytes;
  }
  return bytes;
}

}  // namespace

std::uint64_t free_bytes_at(const fs::path& path) {
  std::error_code error;
  fs::path there = fs::absolute(path, error);
  while (!there.empty() && !fs::exists(there, error) && there != there.root_path()) {
    there = there.parent_path();
  }
  const fs::space_info space = fs::space(there, error);
  if (!error) return space.available;
  throw base::RigFault(
      fmt::format("{}: how much room there is can't be told: {}", path.string(), error.message()));
}

std::optional<std::string> why_disk_ends_run(std::uint64_t free_bytes, const fs::path& path) {
  if (free_bytes >= disk_reserve) return std::nullopt;
  return fmt::format(
      "the disk is nearly full: {:.0f} MB are free where {} is, and {:.0f} MB are kept back for "
      "the end of a run and its reports; make room, then go on",
      mb(free_bytes), path.string(), mb(disk_reserve));
}

Footprint footprint_of(const scenario::Scenario& scenario, const rig::RigFile& rig,
                       const Rehearsal& rehearsal) {
  const std::uint64_t trials =
      rehearsal.trials + rehearsal.reference_groups + quiet_trials_of(scenario);
  const bool is_virtual = rig.kind == rig::RigKind::simulated;
  return {.journal = header_bytes + trials * trial_bytes + rehearsal.taps * tap_bytes +
                     rehearsal.trials * answer_bytes(rig),
          .waveforms = waveform_bytes(scenario, rig),
          .reports = page_bytes + trials * rig.devices.size() * table_row_bytes +
                     (is_virtual ? rehearsal.taps * truth_bytes : 0)};
}

Reach reach_of(std::uint64_t free_bytes, const Footprint& footprint, base::Duration length) {
  const std::uint64_t usable = free_bytes - std::min(free_bytes, disk_reserve);
  const double runs = static_cast<double>(usable) / static_cast<double>(footprint.total());
  constexpr double s_per_hour = 3600.0;
  return {.runs = runs, .hours = runs * base::to_s(length) / s_per_hour};
}

}  // namespace plexor::run
