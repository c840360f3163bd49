#pragma once

#include <atomic>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

#include "lines/virtual_chip.hpp"
#include "virtual/power_chain.hpp"
#include "warden/bench_lines.hpp"

namespace plexor {

/// A stretch of time in which current flowed.
struct CurrentFlow {
  lines::KernelInstant from;
  lines::KernelInstant to;  ///< still flowing: the last look
  bool ended = false;
};

/// The world outside the computer, on a thread of its own: the power chain, the
/// coil's sense line, and the witness that keeps when current flowed.
class Outside {
 public:
  Outside(const std::string& chip, const virtual_rig::PowerChain::Setting& setting);
  ~Outside();
  Outside(const Outside&) = delete;
  Outside& operator=(const Outside&) = delete;

  /// Opens or closes the stop loop or the lid.
  void drive(Offset line, bool closed) { chip_.drive(line, closed); }
  [[nodiscard]] std::vector<CurrentFlow> flows();
  [[nodiscard]] bool coil_is_on() { return coil_on_.load(); }
  /// The longest that this thread was kept from looking: what the figures can't be better than.
  [[nodiscard]] base::Duration longest_delay() { return longest_delay_.load(); }

 private:
  void live();

  lines::VirtualChip chip_;
  virtual_rig::PowerChain chain_;
  std::mutex mutex_;
  std::vector<CurrentFlow> flows_;
  std::atomic<bool> coil_on_ = false;
  std::atomic<base::Duration> longest_delay_{base::Duration{}};
  std::atomic<bool> over_ = false;
  std::thread thread_;
};

}  // namespace plexor
