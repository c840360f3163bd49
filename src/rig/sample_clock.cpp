#include "rig/sample_clock.hpp"

#include <algorithm>
#include <utility>

#include "rig/stamp_width.hpp"

namespace plexor::rig {

namespace {

using namespace std::chrono_literals;
using lines::KernelInstant;

constexpr base::Duration bin_width = 100ms;
/// So many bins in a row must be late before that is a loss: half a second in a stream that flows,
/// longer where much is given away at once.
constexpr std::ptrdiff_t late_bins = 4;
/// Less than this is a drift, or a delay that passes.
constexpr base::Duration shortest_loss = 2ms;
/// Of the sender's time: a share of each period by which the used distance may follow a slower
/// sender. Five times the quickest drift, so that it catches up.
constexpr std::int64_t followed_share = 1'000'000 / (5 * SampleClock::quickest_drift_ppm);
/// Of a stamp's difference from where the stamps before it let it be expected, so much is
/// believed: stamps are told in steps, samples are not taken so.
constexpr std::int64_t believed_share = 8;

}  // namespace

void SampleClock::forget() { *this = SampleClock(period_); }

SampleClock::Step SampleClock::count(KernelInstant arrived) {
  if (!std::exchange(begun_, true)) {
    epoch_ = arrived;
  } else {
    own_ += period_;
  }
  return follow(arrived);
}

SampleClock::Step SampleClock::stamp(base::Duration own, base::Duration resolution,
                                     KernelInstant arrived) {
  if (!std::exchange(begun_, true)) {
    epoch_ = arrived;
    first_own_ = own;
    resolution_ = resolution;
    return follow(arrived);
  }
  resolution_ = std::min(resolution_, resolution);  // zeros at the end may be left out
  const base::Duration expected = own_ + period_;
  const base::Duration off = (own - first_own_) - expected;
  const base::Duration tolerance = std::max(period_ * 3 / 2, resolution_ * 3 / 2);
  if (off < -tolerance) {
    forget();
    (void)stamp(own, resolution, arrived);
    return Step::restarted;
  }
  if (off > tolerance) {
    own_ = own - first_own_;
    const Step step = follow(arrived);
    return step == Step::next ? Step::lost : step;
  }
  own_ = expected + off / believed_share;
  return follow(arrived);
}

SampleClock::Step SampleClock::follow(KernelInstant arrived) {
  const bool is_first = bins_.empty();
  keep(arrived - epoch_ - own_, arrived);
  const base::Duration target = least();
  if (is_first) {
    distance_ = target;
    return Step::next;
  }
  if (has_fallen_behind()) {
    while (static_cast<std::ptrdiff_t>(bins_.size()) > late_bins) bins_.pop_front();
    distance_ = least();
    return Step::lost;
  }
  if (target <= distance_) {  // nothing arrives before it was taken
    const base::Duration back = distance_ - target;
    distance_ = target;
    return back > far() ? Step::settled : Step::next;
  }
  distance_ += std::min(target - distance_, period_ / followed_share);
  return Step::next;
}

void SampleClock::keep(base::Duration distance, KernelInstant arrived) {
  const std::int64_t number = (arrived - epoch_) / bin_width;
  if (!bins_.empty() && bins_.back().number >= number) {
    bins_.back().least = std::min(bins_.back().least, distance);
  } else {
    bins_.push_back({number, distance});
  }
  // What gives away seldom needs more than the window for a few of its freshest samples.
  while (static_cast<std::ptrdiff_t>(bins_.size()) > late_bins + 1 &&
         bins_.front().number < number - window / bin_width) {
    bins_.pop_front();
  }
}

base::Duration SampleClock::least() const {
  return std::min_element(bins_.begin(), bins_.end(),
                          [](const Bin& a, const Bin& b) { return a.least < b.least; })
      ->least;
}

/// All of the last bins are late; the newest may still be without its freshest sample.
bool SampleClock::has_fallen_behind() const {
  if (static_cast<std::ptrdiff_t>(bins_.size()) <= late_bins) return false;
  const auto is_late = [this](const Bin& bin) { return bin.least > distance_ + far(); };
  return std::all_of(bins_.end() - late_bins - 1, bins_.end(), is_late);
}

base::Duration SampleClock::far() const { return std::max(shortest_loss, 2 * period_); }

base::Duration SampleClock::uncertainty() const {
  return far() + window * quickest_drift_ppm / 1'000'000 + resolution_ + stamp_width(false);
}

}  // namespace plexor::rig
