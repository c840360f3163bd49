#include "run/observation_queue.hpp"

#include <algorithm>
#include <utility>

namespace plexor::run {

namespace {

std::size_t weight_of(const rig::Observation& observation) {
  const auto* samples = std::get_if<rig::SamplesHeard>(&observation);
  return samples == nullptr ? 0 : samples->values.size() + ObservationQueue::own_weight;
}

}  // namespace

void ObservationQueue::push(rig::Observation observation) {
  const std::size_t weight = weight_of(observation);
  const base::Instant at = rig::instant_of(observation);
  {
    const std::scoped_lock lock(mutex_);
    if (weight > 0 && values_ + weight > most_values) return;
    values_ += weight;
    waiting_.emplace(at, std::move(observation));
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
      values_ -= weight_of(oldest);
      return oldest;
    }
    if (settled >= deadline) return std::nullopt;
    const base::Instant next =
        waiting_.empty() ? deadline : std::min(deadline, waiting_.begin()->first);
    pushed_.wait_for(lock, std::max(next - settled, base::Duration{std::chrono::microseconds{50}}));
  }
}

}  // namespace plexor::run
