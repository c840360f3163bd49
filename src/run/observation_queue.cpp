#include "run/observation_queue.hpp"

#include <algorithm>
#include <utility>

namespace plexor::run {

void ObservationQueue::push(const rig::Observation& observation) {
  {
    const std::scoped_lock lock(mutex_);
    waiting_.emplace(rig::instant_of(observation), observation);
  }
  pushed_.notify_one();
}

std::optional<rig::Observation> ObservationQueue::take_until(base::Instant deadline) {
  std::unique_lock lock(mutex_);
  for (;;) {
    const base::Instant settled = clock_.now() - settles_after_;
    if (!waiting_.empty() && waiting_.begin()->first <= std::min(settled, deadline)) {
      rig::Observation oldest = std::move(waiting_.begin()->second);
      waiting_.erase(waiting_.begin());
      return oldest;
    }
    if (settled >= deadline) return std::nullopt;
    const base::Instant next =
        waiting_.empty() ? deadline : std::min(deadline, waiting_.begin()->first);
    pushed_.wait_for(lock, std::max(next - settled, base::Duration{std::chrono::microseconds{50}}));
  }
}

}  // namespace plexor::run
