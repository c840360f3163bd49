#pragma once

#include <cstddef>
#include <functional>
#include <vector>

#include "analysis/performance/knocks.hpp"
#include "rig/rig_file.hpp"

namespace plexor::app {

/// What is listened for.
struct KnockHearing {
  std::size_t times = 0;   ///< performances of one number of knocks that are enough
  double pause_s = 0.0;    ///< so much silence ends a performance
  double lockout_s = 0.0;  ///< edges sooner after a knock are its own
};

/// Hears a person knock on the contact line of a rig of kind lines, until enough performances have
/// come or `stop_requested`. Takes that line alone, and only to read it: nothing can be energised.
/// Says on stderr how far it is. Throws base::InputError for a rig that senses no contact,
/// base::RigFault if the line can't be had.
[[nodiscard]] std::vector<analysis::Knock> hear_knocks(const rig::RigFile& rig,
                                                       const KnockHearing& hearing,
                                                       const std::function<bool()>& stop_requested);

}  // namespace plexor::app
