#pragma once

#include <atomic>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <thread>
#include <vector>

#include "kernel/serial_end.hpp"
#include "kernel/simulated_chip.hpp"
#include "lines/lines.hpp"

namespace plexor {

/// Something that was done in the guest: between these two instants.
struct Deed {
  lines::KernelInstant from;
  lines::KernelInstant done;
};

/// What is outside the computer, played on a simulated chip and at the far end of
/// a serial cable: a tip that touches the surface after each pulse of the gate,
/// and a device that says who it is and reports two knocks as "call". In the guest only.
class Workbench {
 public:
  struct Setting {
    std::uint32_t gate = 0;
    std::uint32_t contact = 0;
    std::string port;              ///< the device's end of the cable
    std::uint32_t missed_tap = 0;  ///< this one, counted from 1, does not touch
    // Soon after these reports, counted from 1, when nothing else happens, the wall clock jumps.
    std::uint32_t hour_ahead_after = 0;
    std::uint32_t two_hours_back_after = 0;
  };

  Workbench(SimulatedChip& chip, Setting setting);
  ~Workbench();
  Workbench(const Workbench&) = delete;
  Workbench& operator=(const Workbench&) = delete;

  // Once nothing is tapped any more.

  [[nodiscard]] std::uint32_t taps() const { return taps_; }
  [[nodiscard]] const std::vector<Deed>& touches() const { return touches_; }
  [[nodiscard]] const std::vector<Deed>& reports() const { return reports_; }
  [[nodiscard]] const std::vector<Deed>& jumps() const { return jumps_; }

 private:
  void live();
  void follow_gate(lines::KernelInstant now);
  void move_tip(lines::KernelInstant now);
  void answer(std::string_view question);
  void report(lines::KernelInstant now);
  void jump(lines::KernelInstant now);

  SimulatedChip& chip_;
  Setting setting_;
  SerialEnd port_;
  bool gate_was_high_ = false;
  std::uint32_t taps_ = 0;
  std::optional<lines::KernelInstant> touch_at_;
  std::optional<lines::KernelInstant> leave_at_;
  std::optional<lines::KernelInstant> decide_at_;
  std::optional<lines::KernelInstant> jump_at_;
  std::uint32_t knocks_ = 0;  ///< since the device last decided
  std::vector<Deed> touches_;
  std::vector<Deed> reports_;
  std::vector<Deed> jumps_;
  std::atomic<bool> over_ = false;
  std::thread thread_;
};

}  // namespace plexor
