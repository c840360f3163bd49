#pragma once

#include <atomic>
#include <cstdint>

namespace plexor::safety {

/// The yes or no that every rising edge needs: the epoch under which pulses may
/// be given, or none. One atomic word: asked and taken from any thread, without waiting.
class Permit {
 public:
  void give(std::uint64_t epoch) { epoch_.store(epoch, std::memory_order_release); }
  void take() { epoch_.store(none, std::memory_order_release); }
  /// For pulses planned under `epoch`; those of an older one are stale. [S8]
  [[nodiscard]] bool allows(std::uint64_t epoch) const {
    return epoch != none && epoch_.load(std::memory_order_acquire) == epoch;
  }

 private:
  static constexpr std::uint64_t none = 0;  // the interlock's first epoch is 1
  std::atomic<std::uint64_t> epoch_{none};
};

}  // namespace plexor::safety
