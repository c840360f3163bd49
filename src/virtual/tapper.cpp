#include "virtual/tapper.hpp"

#include <algorithm>
#include <utility>

#include "base/random.hpp"

namespace plexor::virtual_rig {

namespace {

using base::Duration;
using namespace std::chrono_literals;

constexpr Duration shortest_transit = 1ms;
/// What is left of the strike when the plunger comes again.
constexpr double re_strike_speed_share = 0.5;
/// Below the calibrated range the speed falls along the first segment, but a landing plunger moves.
constexpr double slowest_share = 0.1;

/// Straight line through two points, also beyond them.
double line(Duration x, Duration x0, double y0, Duration x1, double y1) {
  return y0 +
         (y1 - y0) * static_cast<double>((x - x0).count()) / static_cast<double>((x1 - x0).count());
}

/// The calibrated segment that holds an on time, or the outer one nearest to it.
std::pair<rig::CalibrationPoint, rig::CalibrationPoint> segment_of(
    const rig::Calibration& calibration, Duration on_time) {
  const auto& points = calibration.points;
  auto upper = std::find_if(points.begin() + 1, points.end() - 1,
                            [&](const auto& point) { return point.on_time >= on_time; });
  return {*(upper - 1), *upper};
}

bool is_turn(std::uint32_t count, std::int64_t every) { return every > 0 && count % every == 0; }

}  // namespace

Tapper::Tapper(rig::Calibration calibration, const TapperSettings& settings, std::uint64_t seed)
    : calibration_(std::move(calibration)), settings_(settings), seed_(seed) {}

std::optional<double> Tapper::speed_of(Duration on_time) const {
  if (on_time < settings_.dead) return std::nullopt;
  const auto [low, high] = segment_of(calibration_, on_time);
  const double speed =
      line(on_time, low.on_time, base::to_m_s(low.strike), high.on_time, base::to_m_s(high.strike));
  return std::max(speed, slowest_share * base::to_m_s(calibration_.slowest()));
}

Duration Tapper::transit_of(const base::Pulse& pulse) const {
  const auto [low, high] = segment_of(calibration_, pulse.on_time);
  const double calibrated =
      line(pulse.on_time, low.on_time, static_cast<double>(low.transit.count()), high.on_time,
           static_cast<double>(high.transit.count()));
  const double hours = base::to_s(pulse.on.time_since_epoch()) / 3600.0;
  const double drift = hours * static_cast<double>(settings_.transit_drift_per_hour.count());
  const Duration scatter{
      base::scale_q32(settings_.transit_sd.count(),
                      base::truncated_normal_q32(
                          {.seed = seed_, .trial = pulses_, .purpose = base::Purpose::transit}))};
  const Duration transit{static_cast<Duration::rep>(calibrated + drift)};
  return std::max(transit + scatter, shortest_transit);
}

Stroke Tapper::strike(const base::Pulse& planned, base::Instant earliest) {
  ++pulses_;
  Stroke stroke{.actual = planned, .first = {}, .second = {}};
  if (is_turn(pulses_, settings_.late_every)) stroke.actual.on += settings_.late;
  stroke.actual.on = std::max(stroke.actual.on, earliest);
  const std::optional<double> speed = speed_of(planned.on_time);
  if (!speed || is_turn(pulses_, settings_.miss_every)) return stroke;
  stroke.first = Contact{stroke.actual.on + transit_of(stroke.actual), *speed};
  if (settings_.re_strike && planned.on_time > *settings_.re_strike) {
    stroke.second =
        Contact{stroke.first->at + settings_.re_strike_after, *speed * re_strike_speed_share};
  }
  return stroke;
}

}  // namespace plexor::virtual_rig
