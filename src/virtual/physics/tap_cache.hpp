#pragma once

#include <cstddef>
#include <cstdint>
#include <map>

#include "virtual/physics/solenoid.hpp"

namespace plexor::physics {

/// Integrates each tap once: a summary is found again only under exactly equal
/// conditions, so a cached run and an uncached one cannot differ.
class TapCache {
 public:
  /// Keeps up to `capacity` summaries (at least 1); the least recently used goes first.
  explicit TapCache(const Solenoid& solenoid, std::size_t capacity = 1024);

  /// The reference is good until the next call.
  [[nodiscard]] const TapSummary& tap(const TapConditions& conditions);

  [[nodiscard]] std::size_t size() const { return entries_.size(); }
  /// How many taps had to be integrated so far.
  [[nodiscard]] std::uint64_t integrated() const { return integrated_; }

 private:
  struct Entry {
    TapSummary summary;
    std::uint64_t last_used = 0;
  };

  void make_room();

  Solenoid solenoid_;
  std::size_t capacity_;
  std::map<TapConditions, Entry> entries_;
  std::uint64_t uses_ = 0;
  std::uint64_t integrated_ = 0;
};

}  // namespace plexor::physics
