#include "base/stretch.hpp"

#include <algorithm>

namespace plexor::base {

std::vector<Stretch> beside(const Stretch& whole, std::span<const Stretch> others) {
  std::vector<Stretch> left;
  Duration reached = whole.from;
  for (const Stretch& other : others) {
    const Duration begin = std::clamp(other.from, reached, whole.to);
    if (begin > reached) left.push_back({reached, begin});
    reached = std::clamp(other.to, begin, whole.to);
  }
  if (whole.to > reached) left.push_back({reached, whole.to});
  return left;
}

std::vector<Stretch> since(Duration begin, std::vector<Stretch> stretches) {
  for (Stretch& one : stretches) one = {one.from - begin, one.to - begin};
  return stretches;
}

}  // namespace plexor::base
