#pragma once

#include <cstdint>
#include <deque>
#include <optional>
#include <string>
#include <vector>

#include "base/time.hpp"
#include "judge/judge.hpp"
#include "rig/ports.hpp"
#include "rig/rig_file.hpp"

namespace plexor::run {

/// Decides whether a device hangs, and when its power is taken away and given back. Pure: it is
/// told what is heard, and orders between two trials what is to be switched.
///
/// A device hangs that has answered before and then leaves so many rhythms in a row, as its
/// [device.recovery] says, without any event; and one that a listener has not heard for so long.
class DeviceWatch {
 public:
  explicit DeviceWatch(const std::vector<rig::Device>& devices);

  /// False where no device has a [device.recovery]: then nobody need tell it anything.
  [[nodiscard]] bool is_needed() const { return is_needed_; }

  /// Anything that a device reports shows that it lives.
  void heard(std::uint32_t device);
  /// How a trial that is over was answered. Void trials tell nothing.
  void answered(const judge::Settled& closed);
  void listener_changed(const rig::ListenerChanged& change);

  /// A device's power is to be switched.
  struct Order {
    std::uint32_t device = 0;
    bool on = false;
    std::string reason{};  ///< why it is taken away: "12 rhythms in a row unanswered"
  };
  /// The next thing to switch at `now`, between two trials; call until there is nothing.
  [[nodiscard]] std::optional<Order> next_order(base::Instant now);
  /// Until then a device is without power, or starts: no trial may begin. Nothing: none is.
  [[nodiscard]] std::optional<base::Instant> busy_until() const;
  /// The devices without power just now: who ends a run gives it back.
  [[nodiscard]] std::vector<std::uint32_t> without_power() const;
  /// "panel hangs and is being restarted": for people; empty while none hangs.
  [[nodiscard]] std::string note() const;

 private:
  struct Watched {
    std::string name;
    std::optional<rig::RecoverySettings> how;
    bool has_answered = false;
    std::uint32_t unanswered = 0;                            ///< rhythms, in a row
    std::vector<std::optional<base::Instant>> down_since{};  ///< by listener
    enum class Power : std::uint8_t { on, off, starting } power = Power::on;
    base::Instant until{};               ///< off and starting
    std::deque<base::Instant> cycles{};  ///< of the last hour
    bool is_left = false;                ///< hangs, and is not cycled (any more)
  };
  [[nodiscard]] static std::optional<std::string> why_hung(const Watched& device,
                                                           base::Instant now);
  [[nodiscard]] static bool may_be_cycled(Watched& device, base::Instant now);
  static void start_anew(Watched& device, base::Instant now);
  [[nodiscard]] static std::optional<Order> order_for(Watched& device, base::Instant now);

  std::vector<Watched> devices_;
  bool is_needed_ = false;
};

}  // namespace plexor::run
