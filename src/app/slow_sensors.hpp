#pragma once

#include <atomic>
#include <functional>
#include <thread>

#include "rig/rig_file.hpp"
#include "run/live_rig.hpp"

namespace plexor::app {

/// Reads the sensors that answer slowly, where the rig has them: the body's
/// temperature and the supply's alarm; once at once, then on a thread of its own.
/// A sensor that can't be read, a body above the coil's limit or much above what
/// the model thinks of it, a supply that is down: each withholds leave to tap [S68].
class SlowSensors {
 public:
  /// `modelled_body_c` is asked on that thread too.
  SlowSensors(const rig::RigFile& rig, run::LiveRig& live, std::function<double()> modelled_body_c);
  ~SlowSensors();
  SlowSensors(const SlowSensors&) = delete;
  SlowSensors& operator=(const SlowSensors&) = delete;

 private:
  void look();

  const rig::RigFile& rig_;
  run::LiveRig& live_;
  std::function<double()> modelled_body_c_;
  std::atomic<bool> over_ = false;
  std::thread thread_;
};

}  // namespace plexor::app
