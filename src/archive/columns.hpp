#pragma once

#include "analysis/history/run_figures.hpp"

// Which field of the figures stands in which column: said once, for storing, reading and the hash
// of the content. `visit(name, field)` is told each. Hours and the order of devices and holes have
// columns besides, which are no fields.

namespace plexor::archive {

template <typename Run, typename Visit>
void each_column_of_run(Run&& run, Visit&& visit) {
  visit("run_id", run.run_id);
  visit("folder", run.folder);
  visit("started_ns", run.started_ns);
  visit("utc_offset_s", run.utc_offset_s);
  visit("night", run.night);
  visit("plexor_version", run.plexor_version);
  visit("scenario", run.scenario);
  visit("purpose", run.purpose);
  visit("seed", run.seed);
  visit("lifted", run.lifted);
  visit("simulated", run.simulated);
  visit("rig", run.rig);
  visit("surface", run.surface);
  visit("spot", run.spot);
  visit("mounting", run.mounting);
  visit("ended", run.ended);
  visit("detail", run.detail);
  visit("judged", run.judged);
  visit("headline", run.headline);
  visit("duration_s", run.duration_s);
  visit("trials", run.trials);
  visit("voids", run.voids);
  visit("transit_ms", run.transit_ms);
  visit("transit_sd_ms", run.transit_sd_ms);
  visit("coil_c", run.coil_c);
}

template <typename Device, typename Visit>
void each_column_of_device(Device&& device, Visit&& visit) {
  visit("unit", device.name);
  visit("release", device.release);
  visit("detected", device.detected.x);
  visit("detected_of", device.detected.n);
  visit("false_responses", device.false_responses.x);
  visit("false_responses_of", device.false_responses.n);
  visit("confused", device.confused.x);
  visit("confused_of", device.confused.n);
  visit("incidents", device.incidents);
  visit("quiet_hours", device.quiet_hours);
  visit("disturbed_incidents", device.disturbed_incidents);
  visit("median_ms", device.median_ms);
  visit("p95_ms", device.p95_ms);
  visit("power_cycles", device.power_cycles);
  visit("unheard_s", device.unheard_s);
  visit("alarms_z", device.alarms_z);
  visit("detection_z", device.detection_z);
}

template <typename Hour, typename Visit>
void each_column_of_hour(Hour&& hour, Visit&& visit) {
  visit("quiet_hours", hour.quiet_hours);
  visit("incidents", hour.incidents);
}

template <typename Hole, typename Visit>
void each_column_of_hole(Hole&& hole, Visit&& visit) {
  visit("cause", hole.cause);
  visit("begins_s", hole.begins_s);
  visit("length_s", hole.length_s);
}

}  // namespace plexor::archive
