#pragma once

#include <cstddef>
#include <optional>

#include "lines/lines.hpp"
#include "rig/listener_settings.hpp"

namespace plexor::rig {

/// What the edges of a device's output line mean. Pure: it is told edges and time.
/// An activation counts if no edge came within the debounce time before it, so a
/// contact that bounces counts once, at its first edge.
class EdgeReader {
 public:
  struct Meaning {
    std::size_t pulses = 1;   ///< how many activations made it
    lines::KernelInstant at;  ///< edge, level: the activation; pulses: the last of them
  };

  explicit EdgeReader(const LineSettings& settings) : settings_(settings) {}

  /// An edge, in the order of time. Ask settled() up to its instant before.
  void take(lines::Level level, lines::KernelInstant at);
  /// What is certain at `now` when no edge has come since the last.
  [[nodiscard]] std::optional<Meaning> settled(lines::KernelInstant now);
  /// When it will be; nothing if nothing is pending.
  [[nodiscard]] std::optional<lines::KernelInstant> settles_at() const;

 private:
  LineSettings settings_;
  std::optional<lines::KernelInstant> last_edge_;
  std::optional<Meaning> pending_;
};

}  // namespace plexor::rig
