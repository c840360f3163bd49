#pragma once

#include <optional>

#include "base/time.hpp"

namespace plexor::rig {

/// What a line says of disturbances that is active while something may shake the surface: a door's
/// switch, a machine's lamp. Pure: it is told levels and time. What comes again before the last one
/// has faded is the same disturbance.
class DisturbanceReader {
 public:
  /// One that lasts is told in pieces, so that a power cut costs no more than this of it.
  static constexpr base::Duration longest_piece = std::chrono::minutes{1};

  struct Span {
    base::Instant from;
    base::Instant to;
    bool operator==(const Span&) const = default;
  };

  /// `tail`: for so long after the line has become inactive things still ring.
  explicit DisturbanceReader(base::Duration tail) : tail_(tail) {}

  /// The line's level since then, in the order of time. Ask settled() up to its instant before.
  void take(bool active, base::Instant at);
  /// What is certain at `now` when the line has not changed since.
  [[nodiscard]] std::optional<Span> settled(base::Instant now);
  /// When it will be; nothing while nothing shakes.
  [[nodiscard]] std::optional<base::Instant> settles_at() const;

 private:
  base::Duration tail_;
  std::optional<base::Instant> from_;  ///< of what is not yet told
  base::Instant fades_at_;             ///< once the line is inactive
  bool active_ = false;
};

}  // namespace plexor::rig
