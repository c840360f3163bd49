#pragma once

#include <algorithm>
#include <atomic>
#include <chrono>
#include <mutex>
#include <thread>
#include <vector>

#include "lines/lines.hpp"

namespace plexor {

/// How late this machine wakes who sleeps, from its making on: what no limit can be kept better
/// than.
class Lateness {
 public:
  Lateness() : thread_([this] { watch(); }) {}
  ~Lateness() {
    over_ = true;
    thread_.join();
  }
  Lateness(const Lateness&) = delete;
  Lateness& operator=(const Lateness&) = delete;

  /// Between two instants, at the most.
  [[nodiscard]] base::Duration longest(
      lines::KernelInstant from = {}, lines::KernelInstant to = lines::KernelInstant::max()) const {
    const std::vector<base::Duration> late = between(from, to);
    return late.empty() ? base::Duration{} : late.back();
  }
  /// As a rule; 0 if nobody was woken.
  [[nodiscard]] base::Duration median(lines::KernelInstant from, lines::KernelInstant to) const {
    const std::vector<base::Duration> late = between(from, to);
    return late.empty() ? base::Duration{} : late[late.size() / 2];
  }

 private:
  struct Waking {
    lines::KernelInstant at;
    base::Duration late;
  };

  /// In rising order.
  [[nodiscard]] std::vector<base::Duration> between(lines::KernelInstant from,
                                                    lines::KernelInstant to) const {
    std::vector<base::Duration> late;
    const std::scoped_lock lock(mutex_);
    for (const Waking& waking : wakings_) {
      if (waking.at >= from && waking.at <= to) late.push_back(waking.late);
    }
    std::ranges::sort(late);
    return late;
  }

  void watch() {
    constexpr base::Duration nap = std::chrono::milliseconds{2};
    while (!over_) {
      const lines::KernelInstant begin = lines::kernel_now();
      lines::kernel_nap(nap);
      const lines::KernelInstant end = lines::kernel_now();
      const std::scoped_lock lock(mutex_);
      wakings_.push_back({end, end - begin - nap});
    }
  }

  mutable std::mutex mutex_;
  std::vector<Waking> wakings_;
  std::atomic<bool> over_ = false;
  std::thread thread_;
};

}  // namespace plexor
