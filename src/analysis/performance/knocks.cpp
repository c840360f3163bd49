#include "analysis/performance/knocks.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <functional>
#include <map>

#include "analysis/intervals.hpp"
#include "analysis/signal/quiet_level.hpp"
#include "analysis/signal/triggers.hpp"

namespace plexor::analysis {
namespace {

constexpr double largest_code = 1 << 24;
constexpr double hard_knocks = 0.9;  // the quantile of the peaks that stands for them
constexpr double least_share_of_it = 0.1;

double median_of(std::vector<double> values) {
  if (values.empty()) return 0.0;
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

/// Samples in whole codes: the sensor's own, where its values lie on steps.
struct Codes {
  double zero = 0.0;
  double unit = 1.0;
  std::vector<std::int32_t> values{};

  [[nodiscard]] double in_unit(double code) const { return zero + unit * code; }
};

double step_of(std::vector<double> values, double furthest) {
  std::ranges::sort(values);
  double step = furthest;
  const double finest = furthest / largest_code;
  for (std::size_t i = 1; i < values.size(); ++i) {
    const double apart = values[i] - values[i - 1];
    if (apart > finest) step = std::min(step, apart);
  }
  return step > 0.0 ? step : 1.0;
}

Codes codes_of(std::span<const double> values) {
  Codes codes{.zero = median_of({values.begin(), values.end()})};
  double furthest = 0.0;
  for (const double value : values) furthest = std::max(furthest, std::abs(value - codes.zero));
  codes.unit = step_of({values.begin(), values.end()}, furthest);
  codes.values.reserve(values.size());
  for (const double value : values) {
    codes.values.push_back(
        static_cast<std::int32_t>(std::lround((value - codes.zero) / codes.unit)));
  }
  return codes;
}

double peak_in(std::span<const std::int32_t> values, double baseline) {
  double peak = 0.0;
  for (const std::int32_t value : values) peak = std::max(peak, std::abs(value - baseline));
  return peak;
}

/// Of each trigger until the lockout ends or the stream does; all in codes.
std::vector<double> peaks_of(std::span<const std::int32_t> values,
                             const std::vector<std::size_t>& triggers, double baseline,
                             std::size_t lockout) {
  std::vector<double> peaks;
  for (const std::size_t from : triggers) {
    const std::size_t length = std::min(std::max<std::size_t>(lockout, 1), values.size() - from);
    peaks.push_back(peak_in(values.subspan(from, length), baseline));
  }
  return peaks;
}

double threshold_for(const Codes& codes, const QuietLevel& quiet, std::size_t lockout) {
  const double above_noise = quiet.reach(codes.values.size());
  const auto candidates = triggers_in(codes.values, quiet.baseline, above_noise, lockout);
  std::vector<double> peaks = peaks_of(codes.values, candidates, quiet.baseline, lockout);
  std::ranges::sort(peaks);
  const double hard = quantile_type7(peaks, hard_knocks).value_or(0.0);
  return std::max(above_noise, least_share_of_it * hard);
}

}  // namespace

double usual_spacing(std::span<const double> times_s) {
  std::vector<double> spacings;
  for (std::size_t i = 1; i < times_s.size(); ++i) {
    spacings.push_back(times_s[i] - times_s[i - 1]);
  }
  return median_of(std::move(spacings));
}

std::optional<FoundKnocks> find_knocks(std::span<const double> times_s,
                                       std::span<const double> values, const KnockSearch& search) {
  const Codes codes = codes_of(values);
  const auto quiet = quiet_level(codes.values);
  if (!quiet) return std::nullopt;
  const auto lockout =
      static_cast<std::size_t>(std::llround(search.lockout_s / usual_spacing(times_s)));
  const double threshold =
      search.threshold ? *search.threshold / codes.unit : threshold_for(codes, *quiet, lockout);
  FoundKnocks found{.baseline = codes.in_unit(quiet->baseline),
                    .noise_rms = quiet->noise_rms * codes.unit,
                    .threshold = threshold * codes.unit};
  const auto triggers = triggers_in(codes.values, quiet->baseline, threshold, lockout);
  const auto peaks = peaks_of(codes.values, triggers, quiet->baseline, lockout);
  for (std::size_t i = 0; i < triggers.size(); ++i) {
    found.knocks.push_back({times_s[triggers[i]], peaks[i] * codes.unit});
  }
  return found;
}

Performances performances_of(std::span<const Knock> knocks, double pause_s) {
  Performances all;
  std::vector<Performance> heard;
  for (const Knock& knock : knocks) {
    const double since = heard.empty() ? 0.0 : knock.at_s - heard.back().knocks.back().at_s;
    if (heard.empty() || since > pause_s) {
      if (!heard.empty())
        all.shortest_pause_s = std::min(all.shortest_pause_s.value_or(since), since);
      heard.push_back({.number = heard.size() + 1});
    }
    heard.back().knocks.push_back(knock);
  }
  std::map<std::size_t, std::size_t> how_many;
  for (const Performance& performance : heard) ++how_many[performance.knocks.size()];
  for (const auto& [size, times] : how_many) {
    if (times >= how_many[all.knocks_each]) all.knocks_each = size;
  }
  for (Performance& performance : heard) {
    const bool is_usual = performance.knocks.size() == all.knocks_each;
    (is_usual ? all.kept : all.left_out).push_back(std::move(performance));
  }
  for (const Performance& performance : all.kept) {
    for (std::size_t k = 1; k < performance.knocks.size(); ++k) {
      all.longest_interval_s = std::max(
          all.longest_interval_s, performance.knocks[k].at_s - performance.knocks[k - 1].at_s);
    }
  }
  return all;
}

}  // namespace plexor::analysis
