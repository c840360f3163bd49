#include "app/disk_check.hpp"

#include <fmt/format.h>

#include "app/aside.hpp"
#include "app/run_journal.hpp"
#include "base/error.hpp"
#include "run/disk_room.hpp"

namespace plexor::app {

namespace {

/// What a job needs, and what there is.
struct Room {
  run::Footprint needs;
  std::uint64_t free_bytes = 0;
  run::Reach reach;
};

Room room_for(const Job& job, const std::filesystem::path& where) {
  Room room{run::footprint_of(job.scenario, job.rig, job.rehearsal), run::free_bytes_at(where), {}};
  room.reach = run::reach_of(room.free_bytes, room.needs, job.rehearsal.length);
  return room;
}

std::string bytes_text(std::uint64_t bytes) {
  const auto value = static_cast<double>(bytes);
  return value < 1e9 ? fmt::format("{:.1f} MB", value / 1e6)
                     : fmt::format("{:.1f} GB", value / 1e9);
}

}  // namespace

std::string disk_text(const Job& job) {
  const Room room = room_for(job, default_runs_folder);
  return fmt::format(
      "Writes about {}; {} are free in {}, less {} kept back: room for {:.0f} such runs, or {:.0f} "
      "hours.{}",
      bytes_text(room.needs.total()), bytes_text(room.free_bytes), default_runs_folder,
      bytes_text(run::disk_reserve), room.reach.runs, room.reach.hours,
      room.reach.fits() ? "" : " It does not fit: make room, or give run --out another disk.");
}

nlohmann::ordered_json disk_json(const Job& job) {
  const Room room = room_for(job, default_runs_folder);
  return {{"bytes", room.needs.total()},
          {"journal_bytes", room.needs.journal},
          {"waveform_bytes", room.needs.waveforms},
          {"report_bytes", room.needs.reports},
          {"free_bytes", room.free_bytes},
          {"reserve_bytes", run::disk_reserve},
          {"runs_that_fit", room.reach.runs},
          {"hours_that_fit", room.reach.hours},
          {"fits", room.reach.fits()}};
}

void check_disk_room(const Job& job, const std::filesystem::path& out) {
  const std::filesystem::path where = out.empty() ? default_runs_folder : out;
  const Room room = room_for(job, where);
  if (const auto why = run::why_disk_ends_run(room.free_bytes, where)) {
    throw base::RigFault(*why + "; nothing was moved");
  }
  if (room.reach.fits()) return;
  say_aside(
      "WARNING: the run writes about {}, and {} are free in {}, less {} kept back: it ends in "
      "order "
      "after about {:.1f} hours; make room, or give --out another disk\n",
      bytes_text(room.needs.total()), bytes_text(room.free_bytes), where.string(),
      bytes_text(run::disk_reserve), room.reach.hours);
}

}  // namespace plexor::app
