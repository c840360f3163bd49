#pragma once

#include <condition_variable>
#include <map>
#include <mutex>
#include <optional>

#include "rig/ports.hpp"

namespace plexor::run {

/// Where the threads that sense and hear put what they observe, and the
/// conductor's thread takes it in the order of its instants. Threads are held up
/// now and then, so an observation is handed out only once it has settled: what
/// is pushed later than that after its instant comes out of order, but comes.
class ObservationQueue {
 public:
  static constexpr base::Duration settling = std::chrono::milliseconds{5};

  /// Samples that nobody takes are dropped from here on, so that they do not fill the memory: so
  /// many values wait at the most (of 16 channels at 8000 Hz, half a minute).
  static constexpr std::size_t most_values = 4'000'000;
  /// What an observation of samples weighs beside its values, likewise in values.
  static constexpr std::size_t own_weight = 64;

  /// `hold_back`: by how much longer than that an observation may come after its instant.
  explicit ObservationQueue(const rig::Clock& clock, base::Duration hold_back = {})
      : clock_(clock), settles_after_(settling + hold_back) {}

  void push(rig::Observation observation);
  /// The oldest, once it has settled; nothing when everything up to `deadline` has.
  [[nodiscard]] std::optional<rig::Observation> take_until(base::Instant deadline);

 private:
  const rig::Clock& clock_;
  base::Duration settles_after_;
  std::mutex mutex_;
  std::condition_variable pushed_;
  std::size_t values_ = 0;                                  ///< of samples that wait
  std::multimap<base::Instant, rig::Observation> waiting_;  // equal instants keep their order
};

}  // namespace plexor::run
