#include "virtual/peak_detector.hpp"

#include <algorithm>

#include "base/vector_clones.hpp"

namespace plexor::virtual_rig {

namespace {

constexpr std::int32_t farthest = 4095;  ///< 64 squares of it stay below 2^31

/// One pass that compilers turn into vector instructions. Sums wrap where an entry lies too far
/// out for them, and are not looked at then.
template <std::size_t run>
inline __attribute__((always_inline)) PeakDetector::Figures figures_of(
    const std::int32_t* entries) {
  std::int32_t lowest = entries[0];
  std::int32_t highest = entries[0];
  std::uint32_t sum = 0;
  std::uint32_t squares = 0;
  for (std::size_t i = 0; i < run; ++i) {
    const std::int32_t entry = entries[i];
    lowest = std::min(lowest, entry);
    highest = std::max(highest, entry);
    sum += static_cast<std::uint32_t>(entry);
    squares += static_cast<std::uint32_t>(entry) * static_cast<std::uint32_t>(entry);
  }
  return {lowest, highest, static_cast<std::int32_t>(sum), static_cast<std::int32_t>(squares)};
}

}  // namespace

PeakDetector::PeakDetector(const PeakSettings& settings, std::int32_t mid_rail)
    : window_(static_cast<std::size_t>(settings.window)),
      runs_(window_.size() / run),
      count_(settings.window),
      origin_(mid_rail),
      influence_(static_cast<std::int64_t>(settings.influence * 256.0 + 0.5)),
      k_squared_(settings.k_sigma * settings.k_sigma) {
  // A silent line quantises to a deviation of 0, and any step would be a peak:
  // the deviation counts as 1 LSB at least.
  const double least_lsb = std::max(settings.min_lsb, settings.k_sigma);
  const double least = least_lsb * 16.0 * static_cast<double>(count_);
  least_squared_ = least * least;
}

void PeakDetector::restart() {
  std::fill(window_.begin(), window_.end(), 0);
  std::fill(runs_.begin(), runs_.end(), std::nullopt);
  place_ = filled_ = 0;
  sum_ = sum_of_squares_ = previous_ = 0;
}

/// Takes all codes of a run, if none of them can be flagged whatever their order.
PLEXOR_VECTOR_CLONES
bool PeakDetector::take_run(std::span<const std::int32_t> codes) {
  if (filled_ < window_.size() || place_ % run != 0 || window_.size() - place_ < run) return false;
  std::int32_t entries[run];  // NOLINT: written below, and vectorised
  const auto origin = static_cast<std::int32_t>(origin_);
  for (std::size_t i = 0; i < run; ++i) entries[i] = (codes[i] - origin) * 16;
  std::int32_t* leaving = window_.data() + place_;
  std::optional<Figures>& known = runs_[place_ / run];
  const Figures in = figures_of<run>(entries);
  const Figures out = known ? *known : figures_of<run>(leaving);
  const std::int64_t lowest = std::min(in.lowest, out.lowest);
  const std::int64_t highest = std::max(in.highest, out.highest);
  if (lowest < -farthest || highest > farthest) return false;
  // While the run goes in, the sum moves by at most `drift`, and no square is missing that was
  // not of an entry that left.
  constexpr auto entries_in_run = static_cast<std::int64_t>(run);
  const std::int64_t drift = entries_in_run * (highest - lowest);
  const std::int64_t offset =
      std::max(count_ * in.highest - sum_, sum_ - count_ * in.lowest) + drift;
  const auto offset_squared = static_cast<double>(offset * offset);
  const std::int64_t sum = (sum_ < 0 ? -sum_ : sum_) + drift;
  const std::int64_t least_spread = count_ * (sum_of_squares_ - out.sum_of_squares) - sum * sum;
  if (offset_squared > least_squared_ &&
      offset_squared > k_squared_ * static_cast<double>(least_spread)) {
    return false;
  }
  std::copy_n(entries, run, leaving);
  known = in;
  sum_ += in.sum - out.sum;
  sum_of_squares_ += in.sum_of_squares - out.sum_of_squares;
  previous_ = entries[run - 1];
  place_ = place_ + run == window_.size() ? 0 : place_ + run;
  return true;
}

}  // namespace plexor::virtual_rig
