#include "rig/read_parts.hpp"

namespace plexor::rig {

namespace {

using base::TableReader;
using namespace std::chrono_literals;

PowerCycling read_power(TableReader& reader, RigKind kind) {
  PowerCycling power;
  if (kind == RigKind::lines) power.line = read_wire(reader, "power_line");
  power.off = reader.duration_or("off_s", {0.1, 60.0}, 3s);
  power.boot = reader.duration_or("boot_s", {0.0, 600.0}, 5s);
  power.most_per_hour = reader.has("most_per_hour")
                            ? static_cast<std::uint32_t>(reader.whole("most_per_hour", 1, 20))
                            : 3;
  return power;
}

}  // namespace

RecoverySettings read_recovery(TableReader reader, RigKind kind) {
  RecoverySettings recovery;
  recovery.silent_after_misses =
      reader.has("silent_after_misses")
          ? static_cast<std::uint32_t>(reader.whole("silent_after_misses", 2, 1000))
          : 12;
  // A run gives up on a device that was down for half an hour.
  recovery.silent_after = reader.duration_or("after_s", {5.0, 1500.0}, 120s);
  if (kind == RigKind::simulated || reader.has("power_line")) {
    recovery.power = read_power(reader, kind);
  }
  reader.finish();
  return recovery;
}

}  // namespace plexor::rig
