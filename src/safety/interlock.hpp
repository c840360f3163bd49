#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string_view>

namespace plexor::safety {

// The interlock: one small pure machine that says whether the coil may be
// energised. It reads no line and no clock; whoever does tells it.
//
//     safe <-> ready -> armed <-> tapping
//       ^                 |          |
//       +--- cleared --- tripped <---+
//
// Numbers in brackets are the requirements of rig/safety.md.

enum class InterlockState : std::uint8_t {
  safe,     ///< something does not hold: nothing moves
  ready,    ///< everything holds; nobody has armed
  armed,    ///< leave to tap was given at the rig
  tapping,  ///< a trial is being given
  tripped,  ///< latched: a cause came while armed
};

/// What must hold all the time. Each reads unknown until it has been seen good once. [S1]
enum class Guard : std::uint8_t {
  stop_loop,     ///< closed
  lid,           ///< closed
  warden,        ///< alive, its evidence in time
  plunger_home,  ///< back at its stop when it should be
  coil_cool,     ///< modelled and, where there is a sensor, measured
  journal,       ///< everything so far is durable
  clock,         ///< monotonic time runs as it should
  supply,        ///< no undervoltage
};
inline constexpr std::size_t guard_count = 8;
inline constexpr std::array<Guard, guard_count> all_guards{
    Guard::stop_loop, Guard::lid,     Guard::warden, Guard::plunger_home,
    Guard::coil_cool, Guard::journal, Guard::clock,  Guard::supply};

/// How a guard reads. Everything but `good` means stop: open, disconnected, a
/// read error, never seen. [S2]
enum class Reading : std::uint8_t { unknown, bad, good };

/// Why it tripped: a guard, or what the contact sensor saw.
enum class Cause : std::uint8_t {
  stop_loop,
  lid,
  warden,
  plunger_home,
  coil_cool,
  journal,
  clock,
  supply,
  contact_without_tap,   ///< the plunger touched, and no pulse explains it
  taps_without_contact,  ///< several pulses in a row did not land
  contact_while_lifted,  ///< a lifted tapper must not touch anything
};

[[nodiscard]] std::string_view to_text(InterlockState state);
[[nodiscard]] std::string_view to_text(Guard guard);
[[nodiscard]] std::string_view to_text(Cause cause);

/// What the rig is used for, told once before arming.
struct InterlockSetting {
  bool contact_counts = false;   ///< contact.kind is a tip switch or the coil's current
  bool lifted = false;           ///< no contact is planned
  std::uint8_t most_misses = 3;  ///< taps in a row without contact that trip, at least 1
};

class Interlock {
 public:
  explicit Interlock(const InterlockSetting& setting) : setting_(setting) {}

  // What is seen.

  /// A guard reads so now.
  void see(Guard guard, Reading reading);
  /// All devices can be heard, or one cannot: withholds the permit, latches nothing. [S9]
  void see_listeners(bool heard) { listeners_heard_ = heard; }
  /// The plunger touched the surface; `explained` by a pulse of ours or not.
  void see_contact(bool explained);
  /// A tap is over: it was felt or not.
  void see_tap(bool landed);

  // What people and the controller ask for. False, with nothing changed, where it may not be.

  /// Leave to tap, the deliberate act at the rig. Only from ready. [S5]
  [[nodiscard]] bool arm();
  /// A trip is acknowledged, deliberately: leads to ready, never further, and not
  /// while a guard does not hold. [S6]
  [[nodiscard]] bool clear();
  /// A trial begins or ends.
  [[nodiscard]] bool begin_trial();
  void end_trial();
  /// Stop: back to ready or safe. Possible always, from every state; a trip stays a trip. [S7]
  void disarm();

  // What follows.

  /// Whether a rising edge may be given now, for a pulse planned under this epoch. [S3]
  [[nodiscard]] bool permits(std::uint64_t epoch) const {
    return epoch == epoch_ && state_ == InterlockState::tapping && guards_hold() &&
           listeners_heard_;
  }
  [[nodiscard]] InterlockState state() const { return state_; }
  /// Of the last arming. Pulses queued under an older one are stale. [S8]
  [[nodiscard]] std::uint64_t epoch() const { return epoch_; }
  /// Why it tripped: the first cause, until it is cleared. [S4]
  [[nodiscard]] std::optional<Cause> cause() const { return cause_; }
  [[nodiscard]] Reading reading(Guard guard) const {
    return readings_[static_cast<std::size_t>(guard)];
  }
  [[nodiscard]] bool guards_hold() const;
  /// Taps in a row that did not land.
  [[nodiscard]] std::uint8_t misses() const { return misses_; }

 private:
  [[nodiscard]] bool may_move() const {
    return state_ == InterlockState::armed || state_ == InterlockState::tapping;
  }
  void trip(Cause cause);
  void settle();

  InterlockSetting setting_;
  InterlockState state_ = InterlockState::safe;
  std::array<Reading, guard_count> readings_{};
  bool listeners_heard_ = false;
  std::uint8_t misses_ = 0;
  std::optional<Cause> cause_;
  std::uint64_t epoch_ = 0;
};

}  // namespace plexor::safety
