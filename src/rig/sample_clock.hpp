#pragma once

#include <cstdint>
#include <deque>
#include <optional>

#include "base/time.hpp"
#include "lines/lines.hpp"

namespace plexor::rig {

/// When samples were taken, from when they arrived and the sender's own time of each: its stamps,
/// or the running number of samples times the period.
///
/// On their way samples are only ever delayed, so the least (arrival - own time) seen lately is the
/// distance of the two clocks: buffers that give away many samples at once do no harm as long as
/// their last one is fresh now and then, and a sender whose clock is up to `quickest_drift` off is
/// followed. What is later than that all the time has lost samples on its way. Pure; bounded
/// memory.
class SampleClock {
 public:
  /// How far back the least is looked for.
  static constexpr base::Duration window = std::chrono::seconds{2};
  /// Usual for crystals is 50, for ceramic resonators 5000 at the worst; these are followed slowly.
  static constexpr std::int64_t quickest_drift_ppm = 200;

  /// What lies between a sample and the one before it.
  enum class Step : std::uint8_t {
    next,       ///< one period
    settled,    ///< the distance of the clocks is better known: the one before was placed too late
    lost,       ///< samples that were lost on their way, or that the sender's stamps leave out
    restarted,  ///< the sender's stamps went backwards: it has started anew, or they wrapped
  };

  /// `period`: between two samples; positive.
  explicit SampleClock(base::Duration period) : period_(period) {}

  /// The sender's next sample, without a stamp. Arrivals never go backwards.
  [[nodiscard]] Step count(lines::KernelInstant arrived);
  /// The same with the sender's stamp, which is told in steps of `resolution`. Both not
  /// negative and below 10^18 ns * 4.
  [[nodiscard]] Step stamp(base::Duration own, base::Duration resolution,
                           lines::KernelInstant arrived);
  /// The source was away: nothing of before is true any more.
  void forget();

  /// When the last sample was taken, never after it arrived.
  [[nodiscard]] lines::KernelInstant at() const { return epoch_ + own_ + distance_; }

  /// How far such an instant may be off, beside the way's shortest delay, which nobody can see: a
  /// rectangular half-width. A lost sample that has not been noticed yet, a drift over the window,
  /// a stamp's resolution, and the turn of who reads.
  [[nodiscard]] base::Duration uncertainty() const;

 private:
  /// The least distance in a bin of arrivals.
  struct Bin {
    std::int64_t number = 0;
    base::Duration least{};
  };
  [[nodiscard]] Step follow(lines::KernelInstant arrived);
  void keep(base::Duration distance, lines::KernelInstant arrived);
  [[nodiscard]] base::Duration least() const;
  [[nodiscard]] bool has_fallen_behind() const;
  [[nodiscard]] base::Duration far() const;

  base::Duration period_;
  bool begun_ = false;
  lines::KernelInstant epoch_;   ///< of the first arrival; own times are told from there
  base::Duration first_own_{};   ///< the stamp then
  base::Duration own_{};         ///< of the last sample, since the first
  base::Duration distance_{};    ///< as it is used
  base::Duration resolution_{};  ///< of stamps
  std::deque<Bin> bins_{};       ///< oldest first; none without an arrival
};

}  // namespace plexor::rig
