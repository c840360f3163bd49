#include "virtual/physics/solenoid.hpp"

#include <algorithm>
#include <cmath>
#include <stdexcept>

#include "safety/thermal.hpp"

namespace plexor::physics {

namespace {

constexpr double first_motion_m = 1.0e-6;
/// A slower rebound is no bounce any more: the plunger lies on.
constexpr double resting_speed_m_s = 5.0e-3;
constexpr double give_up_s = 1.0;
/// Halvings of a step that locate an event: to 20 us / 2^30, some femtoseconds.
constexpr int event_halvings = 30;

base::Duration to_duration(double seconds) { return base::Duration{std::llround(seconds * 1e9)}; }

/// Flux linkage instead of current: its derivative has no motional term to get wrong.
struct StrokeState {
  double flux_vs = 0.0;
  double position_m = 0.0;
  double speed_m_s = 0.0;
};

StrokeState moved(const StrokeState& from, const StrokeState& slope, double time_s) {
  return {from.flux_vs + slope.flux_vs * time_s, from.position_m + slope.position_m * time_s,
          from.speed_m_s + slope.speed_m_s * time_s};
}

enum class Motion : std::int8_t { back = -1, held = 0, forth = 1 };

class Stroke {
 public:
  Stroke(const Solenoid& solenoid, const TapConditions& conditions, TapTrace* trace)
      : solenoid_(solenoid),
        coil_ohm_(safety::resistance_ohm({.resistance_20c_ohm = solenoid.resistance_20c_ohm},
                                         static_cast<double>(conditions.coil_mdegc) / 1e3)),
        supply_v_(static_cast<double>(conditions.supply_mv) / 1e3),
        pulse_s_(base::to_s(conditions.pulse)),
        energised_(conditions.pulse > base::Duration::zero()),
        trace_(trace) {}

  TapSummary run();

 private:
  [[nodiscard]] double current_a(const StrokeState& state) const {
    return state.flux_vs / inductance_h(solenoid_, state.position_m);
  }
  [[nodiscard]] double pull_n(const StrokeState& state) const;
  [[nodiscard]] double net_force_n(const StrokeState& state) const;
  [[nodiscard]] StrokeState slope(const StrokeState& state) const;
  [[nodiscard]] StrokeState after(double time_s) const;
  [[nodiscard]] Motion starts(const StrokeState& state) const;
  [[nodiscard]] bool event_by(const StrokeState& state) const;
  [[nodiscard]] double time_to_event(double step_s) const;
  [[nodiscard]] bool at_rest() const;
  void step();
  void note(const StrokeState& before, double step_s);
  void note_flag(const StrokeState& before, double step_s);
  [[nodiscard]] base::Duration instant_at(double position_m, const StrokeState& before,
                                          double step_s) const;
  void handle_event();
  void touch_surface();
  void touch_back_stop();
  void leave_stop(double speed_m_s, Motion direction);
  void record_trace();

  const Solenoid& solenoid_;
  double coil_ohm_;
  double supply_v_;
  double pulse_s_;
  bool energised_;
  TapTrace* trace_;

  double time_s_ = 0.0;
  StrokeState state_;
  Motion motion_ = Motion::held;
  int steps_ = 0;
  TapSummary summary_;
  std::optional<base::Duration> flag_in_;
};

double Stroke::pull_n(const StrokeState& state) const {
  const double gap_m =
      solenoid_.closed_gap_m + solenoid_.gap_at_surface_m + solenoid_.stroke_m - state.position_m;
  const double inductance_slope = solenoid_.gap_inductance_h_m / (gap_m * gap_m);
  const double current = current_a(state);
  return std::min(0.5 * current * current * inductance_slope, solenoid_.saturation_n);
}

double Stroke::net_force_n(const StrokeState& state) const {
  return pull_n(state) - solenoid_.spring_preload_n - solenoid_.spring_rate_n_m * state.position_m;
}

StrokeState Stroke::slope(const StrokeState& state) const {
  const double current = current_a(state);
  StrokeState slope;
  if (energised_) {
    slope.flux_vs = supply_v_ - (coil_ohm_ + solenoid_.source_ohm) * current;
  } else if (current > 0.0) {
    slope.flux_vs = -solenoid_.clamp_v - coil_ohm_ * current;
  }
  if (motion_ == Motion::held) return slope;
  slope.position_m = state.speed_m_s;
  slope.speed_m_s = (net_force_n(state) - static_cast<double>(motion_) * solenoid_.friction_n) /
                    solenoid_.moving_mass_kg;
  return slope;
}

/// Classical fourth-order Runge-Kutta.
StrokeState Stroke::after(double time_s) const {
  const StrokeState a = slope(state_);
  const StrokeState b = slope(moved(state_, a, time_s / 2.0));
  const StrokeState c = slope(moved(state_, b, time_s / 2.0));
  const StrokeState d = slope(moved(state_, c, time_s));
  StrokeState end = moved(state_, a, time_s / 6.0);
  end = moved(end, b, time_s / 3.0);
  end = moved(end, c, time_s / 3.0);
  end = moved(end, d, time_s / 6.0);
  end.flux_vs = std::max(end.flux_vs, 0.0);  // the clamp's diode does not conduct backwards
  return end;
}

/// Which way a plunger at rest sets off, if friction and stops let it.
Motion Stroke::starts(const StrokeState& state) const {
  const double force = net_force_n(state);
  if (force > solenoid_.friction_n && state.position_m < solenoid_.stroke_m) return Motion::forth;
  if (force < -solenoid_.friction_n && state.position_m > 0.0) return Motion::back;
  return Motion::held;
}

/// Whether a stop, a turn or a start lies behind us at this state.
bool Stroke::event_by(const StrokeState& state) const {
  switch (motion_) {
    case Motion::held: return starts(state) != Motion::held;
    case Motion::forth: return state.position_m >= solenoid_.stroke_m || state.speed_m_s < 0.0;
    case Motion::back: return state.position_m <= 0.0 || state.speed_m_s > 0.0;
  }
  return false;
}

double Stroke::time_to_event(double step_s) const {
  double before = 0.0;
  double by = step_s;
  for (int i = 0; i < event_halvings; ++i) {
    const double middle = 0.5 * (before + by);
    (event_by(after(middle)) ? by : before) = middle;
  }
  return by;
}

bool Stroke::at_rest() const {
  return !energised_ && state_.flux_vs == 0.0 && motion_ == Motion::held &&
         starts(state_) == Motion::held;
}

void Stroke::step() {
  const double to_switch_off = pulse_s_ - time_s_;
  const bool switches_off = energised_ && to_switch_off <= tap_step_s;
  double step_s = switches_off ? to_switch_off : tap_step_s;
  StrokeState next = after(step_s);
  const bool event = event_by(next);
  if (event) {
    step_s = time_to_event(step_s);
    next = after(step_s);
  }
  const StrokeState before = state_;
  state_ = next;
  time_s_ += step_s;
  note(before, step_s);
  if (event) {
    handle_event();
  } else if (switches_off) {
    energised_ = false;
  }
}

void Stroke::note(const StrokeState& before, double step_s) {
  const double current = current_a(state_);
  const double mean = 0.5 * (current + current_a(before));
  summary_.copper_heat_j += mean * mean * coil_ohm_ * step_s;
  if (!summary_.landed()) summary_.peak_current_a = std::max(summary_.peak_current_a, current);
  if (!summary_.first_motion && state_.position_m > first_motion_m) {
    summary_.first_motion = instant_at(first_motion_m, before, step_s);
  }
  note_flag(before, step_s);
}

/// When the plunger came past `position_m` in the step that has just been made: linear in it.
base::Duration Stroke::instant_at(double position_m, const StrokeState& before,
                                  double step_s) const {
  const double part = (state_.position_m - position_m) / (state_.position_m - before.position_m);
  return to_duration(time_s_ - part * step_s);
}

void Stroke::note_flag(const StrokeState& before, double step_s) {
  if (solenoid_.flag_m <= 0.0 || summary_.flag || summary_.landed()) return;
  const double out_m = solenoid_.stroke_m - solenoid_.flag_to_surface_m;
  const double in_m = out_m - solenoid_.flag_m;
  const auto passes = [&](double at_m) {
    return before.position_m < at_m && state_.position_m >= at_m;
  };
  if (passes(in_m)) flag_in_ = instant_at(in_m, before, step_s);
  if (passes(out_m) && flag_in_) summary_.flag = {*flag_in_, instant_at(out_m, before, step_s)};
}

void Stroke::handle_event() {
  if (motion_ == Motion::forth && state_.position_m >= solenoid_.stroke_m) return touch_surface();
  if (motion_ == Motion::back && state_.position_m <= 0.0) return touch_back_stop();
  state_.speed_m_s = 0.0;
  motion_ = starts(state_);
}

void Stroke::touch_surface() {
  const double speed = state_.speed_m_s;
  state_.position_m = solenoid_.stroke_m;
  if (speed > resting_speed_m_s || !summary_.landed()) {
    summary_.contacts.push_back({to_duration(time_s_), speed,
                                 0.5 * solenoid_.moving_mass_kg * speed * speed,
                                 current_a(state_)});
  }
  leave_stop(solenoid_.surface_restitution * speed, Motion::back);
}

void Stroke::touch_back_stop() {
  const double speed = -state_.speed_m_s;
  state_.position_m = 0.0;
  if (!summary_.click) summary_.click = BackStopClick{to_duration(time_s_), speed};
  leave_stop(solenoid_.back_restitution * speed, Motion::forth);
}

void Stroke::leave_stop(double speed_m_s, Motion direction) {
  const bool bounces = speed_m_s > resting_speed_m_s;
  motion_ = bounces ? direction : Motion::held;
  state_.speed_m_s = bounces ? speed_m_s * static_cast<double>(direction) : 0.0;
}

void Stroke::record_trace() {
  if (trace_ == nullptr || steps_ % trace_->every != 0) return;
  trace_->points.push_back(
      {time_s_, current_a(state_), state_.position_m, state_.speed_m_s, pull_n(state_)});
}

TapSummary Stroke::run() {
  record_trace();
  while (!at_rest() && time_s_ < pulse_s_ + give_up_s) {
    step();
    ++steps_;
    record_trace();
  }
  summary_.settled = to_duration(time_s_);
  return summary_;
}

void require(bool fact, const char* what) {
  if (!fact) throw std::logic_error(what);
}

void require_usable(const Solenoid& s, const TapConditions& conditions) {
  require(s.resistance_20c_ohm > 0.0 && s.source_ohm >= 0.0, "solenoid: resistance");
  require(s.leakage_h > 0.0 && s.gap_inductance_h_m >= 0.0, "solenoid: inductance");
  require(s.closed_gap_m > 0.0 && s.gap_at_surface_m >= 0.0 && s.stroke_m > 0.0, "solenoid: gaps");
  require(s.moving_mass_kg > 0.0 && s.friction_n >= 0.0, "solenoid: mass and friction");
  require(s.clamp_v >= 0.0 && s.saturation_n > 0.0, "solenoid: clamp and saturation");
  require(s.surface_restitution >= 0.0 && s.surface_restitution < 1.0 &&
              s.back_restitution >= 0.0 && s.back_restitution < 1.0,
          "solenoid: restitution");
  require(conditions.pulse >= base::Duration::zero() && conditions.supply_mv >= 0,
          "tap: pulse and supply");
}

}  // namespace

double inductance_h(const Solenoid& solenoid, double position_m) {
  const double gap_m =
      solenoid.gap_at_surface_m + solenoid.stroke_m - position_m + solenoid.closed_gap_m;
  return solenoid.leakage_h + solenoid.gap_inductance_h_m / gap_m;
}

TapSummary tap(const Solenoid& solenoid, const TapConditions& conditions, TapTrace* trace) {
  require_usable(solenoid, conditions);
  return Stroke(solenoid, conditions, trace).run();
}

}  // namespace plexor::physics
