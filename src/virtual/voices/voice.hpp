#pragma once

#include <memory>
#include <vector>

#include "base/event.hpp"
#include "lines/virtual_chip.hpp"
#include "rig/rig_file.hpp"
#include "virtual/simulation.hpp"

namespace plexor::virtual_rig {

/// How a simulated device speaks in real time, and the faults that hands can give
/// it. Not for use by several threads at once.
class Voice {
 public:
  virtual ~Voice() = default;

  /// The device's cable. Both ends throw base::RigFault if they can't be made.
  virtual void plug_in() = 0;
  virtual void unplug() = 0;
  /// It recognised something. Lost while it boots or hangs.
  virtual void report(const base::Event& event, lines::KernelInstant now) = 0;
  /// Whatever is due: answers, the rest of what it is saying. Call every millisecond or so.
  virtual void live(lines::KernelInstant now) = 0;

  /// It starts anew: says so, and is silent for its boot time.
  virtual void reset(lines::KernelInstant now) = 0;
  /// Neither speaks nor answers, until it is woken or reset.
  virtual void hang() = 0;
  virtual void wake() = 0;
  /// 10,000 reports a second for 2 s.
  virtual void babble(lines::KernelInstant now) = 0;
  /// 10 MB of bytes without meaning, as fast as they go.
  virtual void utter_garbage() = 0;
};

/// The voices of a rig's devices, in their order, all plugged in. Throws base::RigFault.
[[nodiscard]] std::vector<std::unique_ptr<Voice>> make_voices(const rig::RigFile& rig,
                                                              const Simulation& simulation,
                                                              const lines::VirtualChip& chip);

/// A device's line of text for a report: the template with its words put in.
[[nodiscard]] std::string spoken(const std::string& says, const std::string& device,
                                 const std::string& event, base::Duration device_time);

}  // namespace plexor::virtual_rig
