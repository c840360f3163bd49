#include "archive/run_store.hpp"

#include <fmt/format.h>

#include <string_view>

#include "archive/columns.hpp"
#include "archive/content_hash.hpp"

namespace plexor::archive {

using analysis::HourOfDay;
using analysis::RunFigures;

namespace {

constexpr std::string_view complete = "complete";  // journal::Ended::Reason, as figures have it

}  // namespace

RunStore::RunStore(soci::session& session, const Dialect& dialect)
    : session_(session),
      look_up_(
          fmt::format("SELECT content_hash, duration_s, ended FROM run WHERE run_id = :run_id{}",
                      dialect.lock_row)),
      runs_(session, "run"),
      devices_(session, "device", &runs_),
      hours_(session, "device_hour", &runs_),
      holes_(session, "hole", &runs_) {}

RunStore::Stored RunStore::stored(const std::string& run_id) {
  Stored found;
  session_ << look_up_, soci::use(run_id), soci::into(found.hash), soci::into(found.duration_s),
      soci::into(found.ended);
  return found;
}

Imported RunStore::store(const RunFigures& run) {
  const std::string run_id = storable(run.run_id);
  const std::string hash = content_hash(run);
  const Stored before = stored(run_id);
  if (before.hash == hash) return Imported::there_already;
  const bool is_new = before.hash.empty();
  const bool lost_its_end = before.ended == complete && run.ended != complete;
  if (!is_new && (run.duration_s < before.duration_s || lost_its_end)) return Imported::has_more;
  if (!is_new) session_ << "DELETE FROM run WHERE run_id = :run_id", soci::use(run_id);
  insert(run, hash);
  return is_new ? Imported::stored : Imported::replaced;
}

void RunStore::insert(const RunFigures& run, const std::string& hash) {
  NamedRow row;
  each_column_of_run(run, row);
  row("content_hash", hash);
  runs_.add(std::move(row));
  for (std::size_t nth = 0; nth < run.devices.size(); ++nth) {
    insert_device(run, static_cast<int>(nth));
  }
  for (std::size_t nth = 0; nth < run.holes.size(); ++nth) {
    NamedRow hole;
    hole("run_id", run.run_id);
    hole("nth", nth);
    each_column_of_hole(run.holes[nth], hole);
    holes_.add(std::move(hole));
  }
}

void RunStore::insert_device(const RunFigures& run, int nth) {
  const analysis::DeviceFigures& device = run.devices[static_cast<std::size_t>(nth)];
  NamedRow row;
  row("run_id", run.run_id);
  row("nth", nth);
  row("night", run.night);
  each_column_of_device(device, row);
  devices_.add(std::move(row));
  for (std::size_t hour = 0; hour < device.by_hour.size(); ++hour) {
    if (device.by_hour[hour] == HourOfDay{}) continue;
    NamedRow one;
    one("run_id", run.run_id);
    one("nth", nth);
    one("hour", hour);
    each_column_of_hour(device.by_hour[hour], one);
    hours_.add(std::move(one));
  }
}

void RunStore::finish() {
  runs_.finish();
  devices_.finish();
  hours_.finish();
  holes_.finish();
}

}  // namespace plexor::archive
