#pragma once

#include <atomic>
#include <thread>

#include "rig/rig_file.hpp"
#include "run/live_rig.hpp"

namespace plexor::app {

/// Reads the sensors that answer slowly, on a thread of its own: the body's
/// temperature, where the rig has a sensor for it. A sensor that can't be read,
/// or reads above the coil's limit, withholds leave to tap [S68].
class SlowSensors {
 public:
  SlowSensors(const rig::RigFile& rig, run::LiveRig& live);
  ~SlowSensors();
  SlowSensors(const SlowSensors&) = delete;
  SlowSensors& operator=(const SlowSensors&) = delete;

 private:
  std::atomic<bool> over_ = false;
  std::thread thread_;
};

}  // namespace plexor::app
