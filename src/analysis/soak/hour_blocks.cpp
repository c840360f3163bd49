#include "analysis/soak/hour_blocks.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <boost/math/special_functions/gamma.hpp>
#include <cmath>

#include "analysis/comparing/dispersion.hpp"
#include "analysis/figures.hpp"

namespace plexor::analysis {
namespace {

/// By how much the variance of a count exceeds its expectation, as the interval must assume.
double assumed_scale(const HourScatter& scatter, double tail) {
  const double normal = quantile(complement(boost::math::normal(), tail));
  const double degrees = static_cast<double>(scatter.hours) - 1.0;
  const double student = quantile(complement(boost::math::students_t(degrees), tail));
  return std::max(1.0, scatter.index * std::pow(student / normal, 2));
}

}  // namespace

std::vector<Events> hour_blocks(std::span<const double> alarms_h, double listened_h) {
  std::vector<Events> blocks;
  if (listened_h <= 0.0) return blocks;
  blocks.resize(static_cast<std::size_t>(std::max(1.0, std::round(listened_h))));
  const auto last = static_cast<double>(blocks.size() - 1);
  blocks.back().exposure = listened_h - last;
  for (const double at : alarms_h) {
    ++blocks[static_cast<std::size_t>(std::clamp(std::floor(at), 0.0, last))].count;
  }
  return blocks;
}

std::optional<HourScatter> hour_scatter(std::span<const Events> blocks) {
  if (blocks.size() < fewest_hour_blocks) return std::nullopt;
  const Dispersion found = dispersion_of(blocks);
  HourScatter scatter{
      .hours = blocks.size(), .index = found.chi_square / found.degrees, .p = found.p};
  if (found.p > dispersion_error) return scatter;
  Events all{.count = 0, .exposure = 0.0};
  for (const Events& block : blocks) {
    all = {.count = all.count + block.count, .exposure = all.exposure + block.exposure};
  }
  scatter.by_hours = rate_by_hours(all, scatter, display_confidence, Sides::two);
  return scatter;
}

Interval rate_by_hours(Events all, const HourScatter& scatter, double confidence, Sides sides) {
  Interval interval = garwood(all.count, all.exposure, confidence, sides);
  interval.method = "hour blocks";
  const double tail = sides == Sides::two ? (1.0 - confidence) / 2.0 : 1.0 - confidence;
  if (tail >= 0.5) return interval;
  const double scale = assumed_scale(scatter, tail);
  const double count = static_cast<double>(all.count) / scale;
  const double exposure = all.exposure / scale;
  if (sides != Sides::upper && count > 0.0) {
    interval.lower = std::min(interval.lower, boost::math::gamma_p_inv(count, tail) / exposure);
  }
  if (sides != Sides::lower) {
    interval.upper =
        std::max(interval.upper, boost::math::gamma_q_inv(count + 1.0, tail) / exposure);
  }
  return interval;
}

std::string scatter_words(const HourScatter& scatter, bool tested_meanwhile) {
  return fmt::format(
      "false alarms come in bursts: over {} hours of quiet they scatter {:.2g} times as far as at "
      "one steady rate (p = {:.2g}, held against {:.2g}), {}",
      scatter.hours, scatter.index, scatter.p, dispersion_error,
      tested_meanwhile
          ? "but the sequential test takes them for one: it errs more often than stated"
          : "so interval and limit go by blocks of an hour");
}

}  // namespace plexor::analysis
