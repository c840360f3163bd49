#pragma once

#include <atomic>
#include <functional>
#include <thread>

#include "rig/rig_file.hpp"
#include "run/live_rig.hpp"

namespace plexor::app {

/// Reads the sensors that answer slowly, on a thread of its own: the body's
/// temperature, where the rig has a sensor for it. A sensor that can't be read,
/// that reads above the coil's limit, or much above what the model thinks of the
/// body, withholds leave to tap [S68].
class SlowSensors {
 public:
  /// `modelled_body_c` is asked on that thread.
  SlowSensors(const rig::RigFile& rig, run::LiveRig& live, std::function<double()> modelled_body_c);
  ~SlowSensors();
  SlowSensors(const SlowSensors&) = delete;
  SlowSensors& operator=(const SlowSensors&) = delete;

 private:
  std::atomic<bool> over_ = false;
  std::thread thread_;
};

}  // namespace plexor::app
