#include "app/coil_keeper.hpp"

#include <fmt/format.h>

#include "app/aside.hpp"

namespace plexor::app {

CoilKeeper::CoilKeeper(const rig::RigFile& rig, const RigState& state)
    : state_(state),
      rated_(rig.rated_taps),
      now_(recall(state.coil_text(), boot_now(), rig.limits, rig.coil)) {
  memory_ = {now_.past, boot_now(), false, now_.taps};
  body_c_ = now_.past.state.body_c;
  tell();
}

void CoilKeeper::before(const run::Fire& trial, base::Duration last_off) {
  memory_.past = trial.after;
  body_c_ = trial.after.state.body_c;
  memory_.at = boot_now();
  memory_.at.since_boot += last_off;
  memory_.taps += trial.pulses.size();
  state_.keep_coil(memory_);
}

void CoilKeeper::end_in_order() {
  memory_.ended_in_order = true;
  state_.keep_coil(memory_);
}

void CoilKeeper::tell() const {
  if (!now_.taken_as_hot.empty()) {
    fmt::print(stderr,
               "The coil is taken as hot ({:.0f} degC), because {}: the first taps may have to "
               "wait some minutes.\n",
               now_.past.state.winding_c, now_.taken_as_hot);
  }
  if (rated_ != 0 && now_.taps >= rated_) {
    fmt::print(stderr,
               "WARNING: this tapper has given {} taps; its maker rates it for {}. Replace it, "
               "and calibrate.\n",
               now_.taps, rated_);
  }
}

}  // namespace plexor::app
