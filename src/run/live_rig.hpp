#pragma once

#include <functional>
#include <map>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

#include "rig/disturbance_reader.hpp"
#include "rig/hearing.hpp"
#include "rig/listener.hpp"
#include "rig/ports.hpp"
#include "rig/rig_file.hpp"
#include "rig/sample_listener.hpp"
#include "run/live_clock.hpp"
#include "run/observation_queue.hpp"
#include "run/overseer.hpp"
#include "run/pulse_thread.hpp"
#include "safety/board.hpp"

namespace plexor::run {

/// What the rig is taken for.
struct Use {
  bool lifted = false;   ///< the tapper stands clear of the surface
  bool by_hand = false;  ///< a person looks on, and taps without contact are no fault yet
};

/// A rig of kind lines, in real time: gate, contact, devices' ports and channels, each on
/// a thread of its own, under the overseer. The warden is somebody else's
/// process, met on the board.
class LiveRig final : public rig::Actuator,
                      public rig::Senses,
                      public rig::Clock,
                      public rig::PowerSwitch {
 public:
  /// Takes the lines and opens the ports. Throws base::RigFault for what can't be taken.
  /// `remark` hears what the listeners have to say to people, on threads of theirs.
  LiveRig(const rig::RigFile& rig, const Use& use, safety::Board board,
          const std::function<void(const std::string&)>& remark = {});
  /// Leaves everything inactive.
  ~LiveRig() override;
  LiveRig(const LiveRig&) = delete;
  LiveRig& operator=(const LiveRig&) = delete;

  // Before the run.

  /// Waits until every guard holds and every device is heard by all its listeners. Throws
  /// base::RigFault naming what does not.
  void wait_until_ready();
  /// Power on, the warden put to the test, leave given: from here on a permit can
  /// be had. Throws base::RigFault, with the power off, if the warden gives no power,
  /// or does not take it from a controller that falls silent [S65].
  void arm(std::optional<lines::KernelInstant> leave_ends);
  /// Without leave: from here on the run hears the devices, and nothing moves.
  void listen_only() { tell_unheard(); }
  /// Somebody took back the leave to tap: no pulse begins any more, and LeaveEnded says why.
  void take_leave_back(const std::string& reason) { overseer_.take_leave_back(reason); }
  /// Takes leave and power, and sees the gate inactive. Throws base::RigFault if it is not.
  void stand_down();

  /// What the host grants the thread of the pulses, and what it refused.
  [[nodiscard]] const std::vector<rig::Finding>& scheduling() const {
    return pulses_->scheduling();
  }

  /// After the run: the warden sees no current, and saw none that was not commanded.
  [[nodiscard]] bool coil_is_accounted_for() const;

  /// The version that a device answers; nothing if it is not asked or does not answer in its
  /// timeout. For the header of the journal, and to refuse a release that was not meant
  /// (rig::version_complaint).
  [[nodiscard]] std::optional<std::string> version_of(std::uint32_t device);
  /// For each listener of this device: by how much later than it came a report may be stamped.
  [[nodiscard]] std::vector<base::Duration> arrival_widths_of(std::uint32_t device) const;

  /// For the guards that somebody else watches: coil_cool and supply, unknown until then.
  void see(safety::Guard guard, safety::Reading reading) { overseer_.see(guard, reading); }

  // During the run.

  void fire(std::span<const base::Pulse> pulses) override;
  void make_safe() noexcept override;
  void set_power(std::uint32_t device, bool on) override;
  [[nodiscard]] std::optional<rig::Observation> observe_until(base::Instant deadline) override;
  [[nodiscard]] base::Instant now() const override { return clock_.now(); }
  [[nodiscard]] lines::KernelInstant started() const { return clock_.start(); }

 private:
  void listen(const rig::RigFile& rig, const std::function<void(const std::string&)>& remark);
  void take_power_lines(const rig::RigFile& rig);
  void watch(void (LiveRig::*follow)());
  void follow_contact();
  void follow_gate();
  void take_disturbance_lines(const rig::RigFile& rig);
  void watch_disturbances(const std::function<void(const std::string&)>& remark);
  void follow_disturbances();
  void tell_disturbance(std::size_t which, base::Instant now);
  void hear_channels(const rig::RigFile& rig,
                     const std::function<void(const std::string&)>& remark);
  [[nodiscard]] rig::Hearers hearers_of(std::uint32_t device, std::uint32_t listener);
  void see_listener(std::uint32_t device, std::uint32_t listener, bool up, lines::KernelInstant at);
  [[nodiscard]] std::string unheard();
  void tell_unheard();
  void wait_for_power(bool powered, const std::string& otherwise);
  void prove_warden();

  std::vector<rig::Device> devices_;
  base::Duration heartbeat_age_;
  base::Duration one_shot_;
  rig::Contact contact_setting_;
  LiveClock clock_;
  ObservationQueue queue_;
  Overseer overseer_;
  std::unique_ptr<lines::Lines> contact_;
  std::unique_ptr<lines::Lines> gate_passages_;
  /// A line that tells of disturbances.
  struct Marker {
    std::string name;
    std::string by;
    rig::DisturbanceReader reader;
  };
  std::vector<Marker> markers_;
  std::unique_ptr<lines::Lines> disturbances_;          ///< of the markers, in their order
  std::unique_ptr<lines::Lines> device_power_;          ///< active: taken away
  std::map<std::uint32_t, std::size_t> power_line_of_;  ///< by device, among device_power_
  std::mutex hearing_mutex_;
  rig::Hearing hearing_{devices_};
  bool arming_ = false;  ///< from here on the conductor must hear of them
  std::atomic<bool> over_ = false;
  std::unique_ptr<PulseThread> pulses_;
  std::thread contact_thread_;
  std::thread gate_thread_;
  std::thread disturbance_thread_;
  rig::Listening listening_;
  std::vector<std::vector<std::unique_ptr<rig::Listener>>> listeners_;  ///< by device
  std::atomic<bool> is_taken_from_ = false;  ///< since it was armed: before, nobody takes samples
  std::vector<std::unique_ptr<rig::SampleListener>> channels_;
};

}  // namespace plexor::run
