#include "virtual/physics/tap_cache.hpp"

#include <algorithm>

namespace plexor::physics {

TapCache::TapCache(const Solenoid& solenoid, std::size_t capacity)
    : solenoid_(solenoid), capacity_(std::max<std::size_t>(capacity, 1)) {}

const TapSummary& TapCache::tap(const TapConditions& conditions) {
  auto found = entries_.find(conditions);
  if (found == entries_.end()) {
    make_room();
    ++integrated_;
    found = entries_.emplace(conditions, Entry{physics::tap(solenoid_, conditions)}).first;
  }
  found->second.last_used = ++uses_;
  return found->second.summary;
}

void TapCache::make_room() {
  if (entries_.size() < capacity_) return;
  // A walk over all entries costs far less than the integration that makes it necessary.
  entries_.erase(std::min_element(
      entries_.begin(), entries_.end(),
      [](const auto& a, const auto& b) { return a.second.last_used < b.second.last_used; }));
}

}  // namespace plexor::physics
