#include "analysis/timeline.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <utility>

namespace plexor::analysis {
namespace {

constexpr std::size_t most_bins = 240;

std::vector<TimelineBin> merge_pairs(const std::vector<TimelineBin>& bins) {
  std::vector<TimelineBin> merged((bins.size() + 1) / 2);
  for (std::size_t i = 0; i < bins.size(); ++i) {
    TimelineBin& into = merged[i / 2];
    into.trials += bins[i].trials;
    into.wrong += bins[i].wrong;
    into.alarms += bins[i].alarms;
  }
  return merged;
}

}  // namespace

void Timeline::answer(double at_s, bool wrong) {
  TimelineBin& bin = at(at_s);
  ++bin.trials;
  if (wrong) ++bin.wrong;
}

void Timeline::alarm(double at_s) { ++at(at_s).alarms; }

TimelineBin& Timeline::at(double at_s) {
  const double since_begin = std::max(at_s, 0.0);
  while (since_begin >= width_s_ * static_cast<double>(most_bins)) {
    bins_ = merge_pairs(bins_);
    width_s_ *= 2.0;
  }
  const auto index = static_cast<std::size_t>(since_begin / width_s_);
  if (bins_.size() <= index) bins_.resize(index + 1);
  return bins_[index];
}

std::vector<TimelineBin> Timeline::stretches(double duration_s) && {
  if (duration_s > 0.0) {
    // The end itself belongs to the last stretch, not to one of its own.
    const double full = width_s_ * static_cast<double>(bins_.size());
    if (duration_s > full) static_cast<void>(at(std::nextafter(duration_s, 0.0)));
  }
  for (std::size_t i = 0; i < bins_.size(); ++i) {
    bins_[i].from_s = width_s_ * static_cast<double>(i);
    bins_[i].to_s = width_s_ * static_cast<double>(i + 1);
  }
  return std::move(bins_);
}

}  // namespace plexor::analysis
