#pragma once

#include "base/toml_reader.hpp"
#include "virtual/simulation.hpp"

namespace plexor::virtual_rig {

// The parts of the table [simulated], each read and checked. All throw base::InputError.

/// [simulated.tapper]; mass, resistance and stop force come from the rig's own tables.
[[nodiscard]] TapperSettings read_tapper(base::TableReader in, const rig::RigFile& rig);

/// [simulated.surface], [simulated.disc], [simulated.front_end], [[simulated.disturbance]].
[[nodiscard]] SensorSettings read_sensor(base::TableReader& in);

/// One table of [[simulated.device]].
[[nodiscard]] DeviceSettings read_device(base::TableReader& in);

/// How it lives, from the same table. Call before read_device.
[[nodiscard]] LifeSettings read_life(base::TableReader& in);

/// How it speaks, from the same table: rigs of kind lines only. Call before read_device.
[[nodiscard]] SpeechSettings read_speech(base::TableReader& in, const rig::Device& device);

}  // namespace plexor::virtual_rig
