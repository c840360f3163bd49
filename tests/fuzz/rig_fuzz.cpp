#include <cstddef>
#include <cstdint>
#include <string_view>

#include "base/error.hpp"
#include "rig/rig_file.hpp"

// Any bytes either make a rig that keeps its promises or one InputError.
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace plexor;
  try {
    const std::string_view text(reinterpret_cast<const char*>(data), size);
    const rig::RigFile file = rig::parse_rig(text, "rig.toml");
    const safety::PulseCheck check(file.limits, file.coil, {safety::cold(file.coil)},
                                   base::segment_start);
    if (check.check({}) || file.devices.empty()) __builtin_trap();
    if (file.calibration) {
      const base::StrikeSpeed slowest = file.calibration->slowest();
      const base::StrikeSpeed fastest = file.calibration->fastest();
      const base::StrikeSpeed between{slowest.um_s + (fastest.um_s - slowest.um_s) / 2};
      if (file.calibration->curves.front().at(between).on_time <= base::Duration::zero())
        __builtin_trap();
    }
  } catch (const base::InputError&) {
  }
  return 0;
}
