#include "analysis/comparing/orders.hpp"

#include <numeric>
#include <utility>

#include "base/random.hpp"

namespace plexor::analysis {
namespace {

/// 0 to n - 1, each order equally likely (Fisher and Yates).
std::vector<std::size_t> shuffled(std::size_t n, std::uint64_t seed, std::uint32_t draw) {
  std::vector<std::size_t> order(n);
  std::iota(order.begin(), order.end(), std::size_t{0});
  for (std::size_t i = n; i > 1; --i) {
    const base::DrawKey key{.seed = seed,
                            .block = draw,
                            .trial = static_cast<std::uint32_t>(i),
                            .purpose = base::Purpose::order};
    const auto other = base::uniform_between(key, 0, static_cast<std::int64_t>(i) - 1);
    std::swap(order[i - 1], order[static_cast<std::size_t>(other)]);
  }
  return order;
}

}  // namespace

std::vector<std::vector<std::size_t>> latin_square(std::size_t units, std::uint64_t seed) {
  const std::vector<std::size_t> runs = shuffled(units, seed, 0);
  const std::vector<std::size_t> names = shuffled(units, seed, 1);
  std::vector<std::vector<std::size_t>> square;
  for (const std::size_t run : runs) {
    std::vector<std::size_t>& places = square.emplace_back();
    for (std::size_t place = 0; place < units; ++place) {
      places.push_back(names[(run + place) % units]);
    }
  }
  return square;
}

std::vector<Turn> there_and_back(std::size_t times) {
  std::vector<Turn> turns;
  for (std::size_t i = 0; i < times; ++i) {
    turns.insert(turns.end(), {Turn::base, Turn::candidate, Turn::candidate, Turn::base});
  }
  return turns;
}

}  // namespace plexor::analysis
