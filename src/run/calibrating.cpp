#include "run/calibrating.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include "base/error.hpp"
#include "safety/limits.hpp"

namespace plexor::run {

namespace {

using namespace std::chrono_literals;

constexpr base::Duration first_pulse = 2ms;
constexpr base::Duration search_step = 500us;
/// Near the shortest pulse that lands, speed rises steeply.
constexpr base::Duration fine_step = 200us;
constexpr std::size_t fine_levels = 6;
constexpr base::Duration coarse_step = 500us;
constexpr int most_warming_taps = 9000;  // half an hour
constexpr double most_strike_cv = 0.1;

struct Spread {
  double mean = 0.0;
  double sd = 0.0;  ///< of the sample, n - 1
};

Spread spread_of(const std::vector<double>& values) {
  const auto n = static_cast<double>(values.size());
  Spread spread;
  for (const double value : values) spread.mean += value / n;
  double squares = 0.0;
  for (const double value : values) squares += (value - spread.mean) * (value - spread.mean);
  if (values.size() > 1) spread.sd = std::sqrt(squares / (n - 1.0));
  return spread;
}

base::Duration nanoseconds(double value) { return base::Duration{std::llround(value)}; }

double mean_winding_c(const std::vector<DriveLevel>& levels) {
  std::vector<double> values;
  for (const DriveLevel& level : levels) {
    for (const HandTap& tap : level.taps) values.push_back(tap.winding_c);
  }
  return spread_of(values).mean;
}

}  // namespace

bool DriveLevel::re_strikes() const {
  return std::any_of(taps.begin(), taps.end(),
                     [](const HandTap& tap) { return tap.contacts.size() > 1; });
}

std::optional<rig::CalibrationPoint> point_of(const DriveLevel& level, const rig::SpeedGate& gate) {
  std::vector<double> strikes_m_s;
  std::vector<double> transits_ns;
  for (const HandTap& tap : level.taps) {
    const auto strike_m_s = tap.strike_m_s(gate);
    if (!strike_m_s) return std::nullopt;
    strikes_m_s.push_back(*strike_m_s);
    transits_ns.push_back(static_cast<double>(tap.transit()->count()));
  }
  const Spread strike = spread_of(strikes_m_s);
  const Spread transit = spread_of(transits_ns);
  if (!(strike.mean > 0.0) || strike.sd > most_strike_cv * strike.mean) return std::nullopt;
  return rig::CalibrationPoint{
      level.on_time,
      {std::llround(strike.mean * 1e6)},
      nanoseconds(transit.mean),
      {static_cast<std::int64_t>(level.taps.size()), nanoseconds(transit.sd), strike.sd}};
}

std::optional<rig::CalibrationCurve> curve_of(const std::vector<DriveLevel>& levels,
                                              const rig::SpeedGate& gate, double supply_v) {
  rig::CalibrationCurve curve;
  for (const DriveLevel& level : levels) {
    if (level.re_strikes()) break;
    const auto point = point_of(level, gate);
    if (point && (curve.points.empty() || point->strike > curve.points.back().strike)) {
      curve.points.push_back(*point);
    }
  }
  if (curve.points.size() < 2) return std::nullopt;
  curve.conditions = {std::llround(mean_winding_c(levels) * 1e3), std::llround(supply_v * 1e3)};
  return curve;
}

base::Duration pooled_transit_sd(const rig::CalibrationCurve& curve) {
  double squares = 0.0;
  double freedom = 0.0;
  for (const rig::CalibrationPoint& point : curve.points) {
    const auto sd_ns = static_cast<double>(point.repeatability.transit_sd.count());
    const auto degrees = static_cast<double>(point.repeatability.taps - 1);
    if (degrees <= 0.0) continue;
    squares += degrees * sd_ns * sd_ns;
    freedom += degrees;
  }
  return freedom > 0.0 ? nanoseconds(std::sqrt(squares / freedom)) : base::Duration{};
}

Calibrating::Calibrating(const rig::RigFile& rig, HandTapper& tapper, const Setting& setting,
                         Teller tell)
    : rig_(rig), tapper_(tapper), setting_(setting), tell_(std::move(tell)) {
  if (!rig.speed_gate) throw base::RigFault("a calibration needs a speed gate");
}

std::optional<base::Duration> Calibrating::shortest_that_lands() {
  for (base::Duration on = first_pulse; on <= rig_.limits.max_pulse; on += search_step) {
    const auto tap = tapper_.tap(on, setting_.between_taps);
    if (!tap) return std::nullopt;
    require_sight(*tap);
    if (!tap->contacts.empty()) return on;
  }
  throw base::RigFault(
      "no pulse up to the limit made contact: check supply, wiring of the gate, the contact "
      "sensor and the way to the surface");
}

/// Once a plunger may turn between gate and surface; twice means that one of them is blind.
void Calibrating::require_sight(const HandTap& tap) {
  disagreements_ = tap.gate.has_value() == tap.contacts.empty() ? disagreements_ + 1 : 0;
  if (disagreements_ < 2) return;
  throw base::RigFault(tap.gate ? "the flag passed the speed gate twice without a contact sensed: "
                                  "look at the contact sensor and the way to the surface"
                                : "two taps landed without the speed gate seeing them: look at "
                                  "flag, light barrier and \"speed_gate\" in the rig file");
}

/// The next drive is taken to strike as much faster as this one does than the one before.
bool Calibrating::next_may_break_a_limit(const std::vector<double>& strikes_m_s) const {
  if (strikes_m_s.empty()) return false;
  const double last = strikes_m_s.back();
  const double step = strikes_m_s.size() > 1 ? last - strikes_m_s[strikes_m_s.size() - 2] : last;
  const base::StrikeSpeed next{std::llround((last + std::max(step, 0.0)) * 1e6)};
  return safety::check_strike(rig_.limits, next).has_value();
}

std::optional<std::vector<base::Duration>> Calibrating::find_drives() {
  const auto first = shortest_that_lands();
  if (!first) return std::nullopt;
  std::vector<base::Duration> drives;
  std::vector<double> strikes_m_s;
  base::Duration on = std::max(*first - search_step, first_pulse);
  while (on <= rig_.limits.max_pulse && !next_may_break_a_limit(strikes_m_s)) {
    const auto tap = tapper_.tap(on, setting_.between_taps);
    if (!tap) return std::nullopt;
    require_sight(*tap);
    if (tap->contacts.size() > 1) break;
    if (!tap->contacts.empty()) drives.push_back(on);
    if (const auto strike = tap->strike_m_s(*rig_.speed_gate)) strikes_m_s.push_back(*strike);
    on += drives.size() < fine_levels ? fine_step : coarse_step;
  }
  return drives;
}

std::optional<std::vector<DriveLevel>> Calibrating::measure(
    const std::vector<base::Duration>& drives) {
  std::vector<DriveLevel> levels;
  levels.reserve(drives.size());
  for (const base::Duration on : drives) levels.push_back({on, {}});
  const auto whole = static_cast<double>(drives.size()) * setting_.taps_per_level;
  double done = 0.0;
  for (int round = 0; round < setting_.taps_per_level; ++round) {
    for (DriveLevel& level : levels) {
      auto tap = tapper_.tap(level.on_time, setting_.between_taps);
      if (!tap) return std::nullopt;
      level.taps.push_back(std::move(*tap));
      tell_(++done / whole);
    }
    std::reverse(levels.begin(), levels.end());
  }
  if (setting_.taps_per_level % 2 != 0) std::reverse(levels.begin(), levels.end());
  return levels;
}

bool Calibrating::warm_to(double winding_c, base::Duration on_time) {
  const double from_c = tapper_.winding_c();
  for (int taps = 0; tapper_.winding_c() < winding_c && taps < most_warming_taps; ++taps) {
    if (!tapper_.tap(on_time, rig_.limits.min_rest)) return false;
    tell_((tapper_.winding_c() - from_c) / (winding_c - from_c));
  }
  return true;
}

}  // namespace plexor::run
