#pragma once

#include <optional>

#include "lines/lines.hpp"

namespace plexor::virtual_rig {

/// The hardware outside the computer that stands between supply and coil
/// (rig/wiring.md): stop loop and lid in series, a switch on the enable line, a
/// retriggerable one-shot that the watchdog's toggling keeps up, a
/// non-retriggerable maximum on-time, and the gate. A model without clock:
/// everything comes with its instant, in time order.
class PowerChain {
 public:
  struct Setting {
    base::Duration one_shot{};  ///< power lasts so long after the last watchdog edge
    /// The gate drives the coil for so long at most, and again only after it was
    /// off. Nothing: this part is not fitted.
    std::optional<base::Duration> longest_on;
  };

  explicit PowerChain(const Setting& setting) : setting_(setting) {}

  void loop(bool closed) { loop_ = closed; }
  void lid(bool closed) { lid_ = closed; }
  void enable(bool active) { enable_ = active; }
  /// Either edge: the one-shot is coupled by a capacitor, so a stuck level starves it.
  void watchdog_edge(lines::KernelInstant at) { fed_at_ = at; }
  void gate(bool active, lines::KernelInstant at);

  /// Whether current flows at `now`.
  [[nodiscard]] bool coil_on(lines::KernelInstant now) const;

 private:
  Setting setting_;
  bool loop_ = false;
  bool lid_ = false;
  bool enable_ = false;
  std::optional<lines::KernelInstant> fed_at_;
  std::optional<lines::KernelInstant> gate_on_since_;
};

}  // namespace plexor::virtual_rig
