#include "conductor/pulse_oracle.hpp"

#include <algorithm>
#include <cmath>

namespace plexor::run {

namespace {

using base::Duration;
using base::Pulse;
using base::to_s;

constexpr double rounding_k = 1e-6;
constexpr double duty_doubt_ns = 1.0;
constexpr double energy_doubt = 1e-5;
constexpr double check_step_s = 0.005;  // as thermal.hpp states
constexpr double longest_on_step_s = 0.001;

Verdict verdict(double found, double limit, double doubt_below, double doubt_above) {
  if (found > limit + doubt_above) return Verdict::broken;
  return found > limit - doubt_below ? Verdict::doubtful : Verdict::kept;
}

Verdict broken_if(bool is_broken) { return is_broken ? Verdict::broken : Verdict::kept; }

double strike_m_s(const rig::Calibration& calibration, Duration on_time) {
  const auto& points = calibration.curves.front().points;
  std::size_t high = 1;
  while (high + 1 < points.size() && points[high].on_time < on_time) ++high;
  const rig::CalibrationPoint& a = points[high - 1];
  const rig::CalibrationPoint& b = points[high];
  const double share = to_s(on_time - a.on_time) / to_s(b.on_time - a.on_time);
  return base::to_m_s(a.strike) + share * (base::to_m_s(b.strike) - base::to_m_s(a.strike));
}

}  // namespace

bool Judgement::any(Verdict verdict) const {
  return std::find(verdicts_.begin(), verdicts_.end(), verdict) != verdicts_.end();
}

PulseOracle::PulseOracle(const rig::RigFile& rig)
    : rig_(rig), coil_c_{rig.coil.ambient_c, rig.coil.ambient_c}, hottest_c_(rig.coil.ambient_c) {}

Judgement PulseOracle::take(const Pulse& pulse) {
  const bool first = taken_.empty();
  Judgement judgement;
  judgement[Kind::length] =
      broken_if(pulse.on_time <= Duration::zero() || pulse.on_time > rig_.limits.max_pulse);
  judgement[Kind::rest] =
      broken_if(!first && pulse.on - taken_.back().off() < rig_.limits.min_rest);
  taken_.push_back(pulse);
  judgement[Kind::duty] = duty(pulse);
  judgement[Kind::coil] = coil(pulse);
  judgement[Kind::energy] = energy(pulse);
  return judgement;
}

Verdict PulseOracle::duty(const Pulse& pulse) const {
  const safety::Limits& limits = rig_.limits;
  const base::Instant to = pulse.off();
  const base::Instant from = to - limits.duty_span;
  Duration on{};
  for (const Pulse& one : taken_) {
    on += std::max(Duration::zero(), std::min(one.off(), to) - std::max(one.on, from));
  }
  const double allowed_ns =
      std::min(static_cast<double>(limits.max_on_in_span.count()),
               limits.duty_percent * 0.01 * static_cast<double>(limits.duty_span.count()));
  return verdict(static_cast<double>(on.count()), allowed_ns, duty_doubt_ns, duty_doubt_ns);
}

Verdict PulseOracle::coil(const Pulse& pulse) {
  pass(pulse.on - coil_at_, false);
  hottest_c_ = coil_c_.winding;
  pass(pulse.on_time, true);
  coil_at_ = pulse.off();
  const double limit_c = rig_.limits.max_coil_c - rig_.limits.coil_margin_k;
  return verdict(hottest_c_, limit_c, hot_side_k(limit_c), rounding_k);
}

Verdict PulseOracle::energy(const Pulse& pulse) const {
  const double m_s = strike_m_s(*rig_.calibration, pulse.on_time);
  const double energy_j = 0.5 * rig_.limits.moving_mass_kg * m_s * m_s;
  const double doubt_j = energy_doubt * rig_.limits.max_energy_j;
  return verdict(energy_j, rig_.limits.max_energy_j, doubt_j, doubt_j);
}

double PulseOracle::hot_side_k(double limit_c) const {
  const safety::CoilModel& coil = rig_.coil;
  const double cold_ohm = coil.resistance_20c_ohm * (234.5 + coil.ambient_c) / 254.5;
  const double in_a_step_k =
      check_step_s * coil.supply_v * coil.supply_v / cold_ohm / coil.winding_j_k;
  return rounding_k +
         in_a_step_k / (234.5 + coil.ambient_c) * std::max(0.0, limit_c - coil.ambient_c);
}

PulseOracle::Nodes PulseOracle::slope(const Nodes& at, bool on) const {
  const safety::CoilModel& coil = rig_.coil;
  const double ohm = coil.resistance_20c_ohm * (234.5 + at.winding) / 254.5;
  const double in_w = on ? coil.supply_v * coil.supply_v / ohm : 0.0;
  const double across_w = (at.winding - at.body) / coil.winding_to_body_k_w;
  const double out_w = (at.body - coil.ambient_c) / coil.body_to_air_k_w;
  return {(in_w - across_w) / coil.winding_j_k, (across_w - out_w) / coil.body_j_k};
}

/// The classical fourth-order rule.
void PulseOracle::step(double seconds, bool on) {
  const auto ahead = [this](const Nodes& by, double s) {
    return Nodes{coil_c_.winding + s * by.winding, coil_c_.body + s * by.body};
  };
  const Nodes a = slope(coil_c_, on);
  const Nodes b = slope(ahead(a, seconds / 2.0), on);
  const Nodes c = slope(ahead(b, seconds / 2.0), on);
  const Nodes d = slope(ahead(c, seconds), on);
  const Nodes mean{(a.winding + 2.0 * b.winding + 2.0 * c.winding + d.winding) / 6.0,
                   (a.body + 2.0 * b.body + 2.0 * c.body + d.body) / 6.0};
  coil_c_ = ahead(mean, seconds);
  hottest_c_ = std::max(hottest_c_, coil_c_.winding);
}

void PulseOracle::pass(Duration elapsed, bool on) {
  if (elapsed <= Duration::zero()) return;
  const safety::CoilModel& coil = rig_.coil;
  const double rate = 1.0 / (coil.winding_to_body_k_w * coil.winding_j_k) +
                      1.0 / (coil.winding_to_body_k_w * coil.body_j_k) +
                      1.0 / (coil.body_to_air_k_w * coil.body_j_k);
  const double longest_s = on ? std::min(longest_on_step_s, 0.03 / rate) : 0.03 / rate;
  const auto steps = static_cast<int>(std::ceil(to_s(elapsed) / longest_s));
  for (int i = 0; i < steps; ++i) step(to_s(elapsed) / steps, on);
}

}  // namespace plexor::run
