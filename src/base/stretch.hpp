#pragma once

#include <span>
#include <vector>

#include "base/time.hpp"

namespace plexor::base {

/// From when to when, since a begin that the context names.
struct Stretch {
  Duration from{};
  Duration to{};

  [[nodiscard]] Duration length() const { return to - from; }
  bool operator==(const Stretch&) const = default;
};

/// What is left of `whole` beside the others, in order. They come in order of their begin and may
/// overlap.
[[nodiscard]] std::vector<Stretch> beside(const Stretch& whole, std::span<const Stretch> others);

/// The same stretches, counted from `begin`.
[[nodiscard]] std::vector<Stretch> since(Duration begin, std::vector<Stretch> stretches);

}  // namespace plexor::base
