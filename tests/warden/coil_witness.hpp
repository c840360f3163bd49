#pragma once

#include <algorithm>
#include <atomic>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

#include "lines/virtual_chip.hpp"

namespace plexor {

/// A stretch of time in which current flowed.
struct CurrentFlow {
  lines::KernelInstant from;
  lines::KernelInstant to;  ///< still flowing: now
  bool ended = false;
};

/// Follows the coil-sense line of a virtual chip and keeps when current flowed,
/// by the instants of the line's own changes.
class CoilWitness {
 public:
  CoilWitness(const std::string& chip, std::uint32_t coil_sense)
      : chip_(lines::VirtualChip::open(chip)),
        coil_sense_(coil_sense),
        last_(chip_.newest_change()),
        thread_([this] { follow(); }) {}
  ~CoilWitness() {
    over_ = true;
    thread_.join();
  }
  CoilWitness(const CoilWitness&) = delete;
  CoilWitness& operator=(const CoilWitness&) = delete;

  [[nodiscard]] std::vector<CurrentFlow> flows() {
    const std::scoped_lock lock(mutex_);
    std::vector<CurrentFlow> flows = flows_;
    if (!flows.empty() && !flows.back().ended) flows.back().to = lines::kernel_now();
    return flows;
  }
  [[nodiscard]] bool coil_is_on() const { return chip_.is_high(coil_sense_); }

 private:
  void follow() {
    while (!over_) {
      const auto change =
          chip_.next_change(last_, lines::kernel_now() + std::chrono::milliseconds{20});
      if (!change) continue;
      last_ = change->number;
      if (change->offset != coil_sense_) continue;
      const std::scoped_lock lock(mutex_);
      if (change->high) {
        flows_.push_back({change->at, change->at, false});
      } else if (!flows_.empty()) {
        flows_.back().to = change->at;
        flows_.back().ended = true;
      }
    }
  }

  lines::VirtualChip chip_;
  std::uint32_t coil_sense_;
  std::uint64_t last_;
  std::mutex mutex_;
  std::vector<CurrentFlow> flows_;
  std::atomic<bool> over_ = false;
  std::thread thread_;
};

/// The longest that current flowed on after an instant.
inline base::Duration on_after(const std::vector<CurrentFlow>& flows, lines::KernelInstant fault) {
  base::Duration longest{};
  for (const CurrentFlow& flow : flows) {
    if (flow.to > fault) longest = std::max(longest, flow.to - std::max(flow.from, fault));
  }
  return longest;
}

}  // namespace plexor
