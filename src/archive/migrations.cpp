#include "archive/migrations.hpp"

#include <fmt/format.h>

#include <array>
#include <span>
#include <string>
#include <string_view>

#include "base/error.hpp"

namespace plexor::archive {

namespace {

// What has been released is never changed: a change of the tables is a version of its own, with the
// statements that lead to it from the one before. {text} and {identity} are types, see Dialect.
// Two-valued columns are 0 or 1.

constexpr std::array<std::string_view, 13> version_1{
    R"(CREATE TABLE run (
  run_id {text} PRIMARY KEY,
  content_hash {text} NOT NULL,
  folder {text} NOT NULL,
  started_ns BIGINT NOT NULL,
  utc_offset_s INTEGER NOT NULL,
  night {text} NOT NULL,
  plexor_version {text} NOT NULL,
  scenario {text} NOT NULL,
  purpose {text} NOT NULL,
  seed BIGINT NOT NULL,
  lifted INTEGER NOT NULL,
  simulated INTEGER NOT NULL,
  rig {text} NOT NULL,
  surface {text} NOT NULL,
  spot {text} NOT NULL,
  mounting {text} NOT NULL,
  ended {text} NOT NULL,
  detail {text} NOT NULL,
  judged {text} NOT NULL,
  headline {text} NOT NULL,
  duration_s DOUBLE PRECISION NOT NULL,
  trials BIGINT NOT NULL,
  voids BIGINT NOT NULL,
  transit_ms DOUBLE PRECISION,
  transit_sd_ms DOUBLE PRECISION,
  coil_c DOUBLE PRECISION))",
    "CREATE INDEX run_by_night ON run (night, started_ns)",
    "CREATE INDEX run_by_rig ON run (rig, night)",
    "CREATE INDEX run_by_surface ON run (surface, night)",
    "CREATE INDEX run_by_scenario ON run (scenario, night)",
    // night: the run's, so that a unit's newest nights are found without its oldest.
    R"(CREATE TABLE device (
  run_id {text} NOT NULL REFERENCES run (run_id) ON DELETE CASCADE,
  nth INTEGER NOT NULL,
  night {text} NOT NULL,
  unit {text} NOT NULL,
  release {text} NOT NULL,
  detected BIGINT NOT NULL,
  detected_of BIGINT NOT NULL,
  false_responses BIGINT NOT NULL,
  false_responses_of BIGINT NOT NULL,
  confused BIGINT NOT NULL,
  confused_of BIGINT NOT NULL,
  incidents BIGINT NOT NULL,
  quiet_hours DOUBLE PRECISION NOT NULL,
  disturbed_incidents BIGINT NOT NULL,
  median_ms DOUBLE PRECISION,
  p95_ms DOUBLE PRECISION,
  power_cycles BIGINT NOT NULL,
  unheard_s DOUBLE PRECISION NOT NULL,
  alarms_z DOUBLE PRECISION,
  detection_z DOUBLE PRECISION,
  PRIMARY KEY (run_id, nth)))",
    "CREATE INDEX device_by_unit ON device (unit, night)",
    "CREATE INDEX device_by_release ON device (release, night)",
    // Hours in which nothing was listened to have no row.
    R"(CREATE TABLE device_hour (
  run_id {text} NOT NULL REFERENCES run (run_id) ON DELETE CASCADE,
  nth INTEGER NOT NULL,
  hour INTEGER NOT NULL,
  quiet_hours DOUBLE PRECISION NOT NULL,
  incidents BIGINT NOT NULL,
  PRIMARY KEY (run_id, nth, hour)))",
    R"(CREATE TABLE hole (
  run_id {text} NOT NULL REFERENCES run (run_id) ON DELETE CASCADE,
  nth INTEGER NOT NULL,
  cause {text} NOT NULL,
  begins_s DOUBLE PRECISION NOT NULL,
  length_s DOUBLE PRECISION,
  PRIMARY KEY (run_id, nth)))",
    // rig, surface: '' where any will do. attempt: how often it was claimed; whoever holds an older
    // one has lost the item. A run that is replaced is deleted and stored anew: hence deferred.
    R"(CREATE TABLE work (
  item {identity},
  scenario {text} NOT NULL,
  scenario_text {text} NOT NULL,
  rig {text} NOT NULL,
  surface {text} NOT NULL,
  priority INTEGER NOT NULL,
  state {text} NOT NULL CHECK (state IN ('waiting', 'claimed', 'recorded', 'refused')),
  attempt BIGINT NOT NULL,
  claimed_by {text} NOT NULL,
  lease_ends_ms BIGINT NOT NULL,
  queued_ms BIGINT NOT NULL,
  run_id {text} REFERENCES run (run_id) DEFERRABLE INITIALLY DEFERRED,
  reason {text} NOT NULL,
  CHECK ((state = 'recorded') = (run_id IS NOT NULL))))",
    "CREATE INDEX work_by_state ON work (state, priority DESC, item)",
    "CREATE INDEX work_by_run ON work (run_id)",
};

constexpr std::array<std::span<const std::string_view>, 1> steps{version_1};

/// 0: no tables yet.
std::size_t version_in(soci::session& session, const Dialect& dialect) {
  int there = 0;
  session << dialect.has_version, soci::into(there);
  int version = 0;
  if (there != 0) session << "SELECT version FROM archive_version", soci::into(version);
  return static_cast<std::size_t>(version);
}

void check_not_newer(const Database& database, std::size_t version) {
  if (version <= steps.size()) return;
  throw base::InputError({database.address().shown, 0, 0},
                         fmt::format("an archive of version {}", version),
                         fmt::format("version {} or older", steps.size()),
                         "use the plexor that made it, or a newer one");
}

void take_step(soci::session& session, const Dialect& dialect, std::size_t to) {
  for (const std::string_view statement : steps.at(to - 1)) {
    session << fmt::format(fmt::runtime(statement), fmt::arg("text", dialect.text),
                           fmt::arg("identity", dialect.identity));
  }
  session << fmt::format("UPDATE archive_version SET version = {}", to);
}

}  // namespace

void bring_up_to_date(Database& database) {
  std::size_t version = 0;
  const auto look = [&](soci::session& session) {
    version = version_in(session, database.dialect());
    check_not_newer(database, version);
  };
  database.transact(Database::Access::read, look);
  if (version == steps.size()) return;
  database.transact(Database::Access::write, [&](soci::session& session) {
    if (!database.dialect().lock_schema.empty()) session << database.dialect().lock_schema;
    look(session);  // another may have been quicker
    if (version == 0) {
      session << "CREATE TABLE archive_version (version INTEGER NOT NULL)";
      session << "INSERT INTO archive_version (version) VALUES (0)";
    }
    while (version < steps.size()) take_step(session, database.dialect(), ++version);
  });
}

}  // namespace plexor::archive
