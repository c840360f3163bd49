#include "run/rehearsal.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "base/error.hpp"
#include "run/schedule.hpp"
#include "safety/limits.hpp"
#include "scenario/planner.hpp"

namespace plexor::run {

namespace {

using base::InputError;

constexpr std::size_t coil_points = 60;

std::string block_name(const scenario::Scenario& scenario, std::size_t index) {
  return fmt::format("block {} (\"{}\")", index + 1,
                     scenario.rhythms[scenario.blocks[index].rhythm].name);
}

void check_speeds(base::StrikeSpeed slowest, base::StrikeSpeed fastest, const std::string& what,
                  const base::Place& place, const rig::RigFile& rig) {
  const rig::Calibration& calibration = *rig.calibration;
  if (slowest < calibration.slowest() || fastest > calibration.fastest()) {
    throw InputError(place,
                     fmt::format("strikes from {:.3f} to {:.3f} m/s in {}", to_m_s(slowest),
                                 to_m_s(fastest), what),
                     fmt::format("strikes that the calibration covers, {:.3f} to {:.3f} m/s",
                                 to_m_s(calibration.slowest()), to_m_s(calibration.fastest())),
                     "change strike_m_s or its cv (draws reach 3 sd), or calibrate a wider range");
  }
  if (const auto refusal = safety::check_strike(rig.limits, fastest)) {
    throw InputError(place, fmt::format("{} in {}", refusal->reason, what),
                     "an impact within the rig's energy limit", "strike more softly");
  }
}

base::Duration least_interval(const rig::CalibrationCurve& curve,
                              const scenario::Envelope& envelope, const rig::RigFile& rig) {
  const rig::CalibrationPoint hard = curve.at(envelope.fastest);
  const rig::CalibrationPoint soft = curve.at(envelope.slowest);
  const base::Duration transit_spread = soft.transit - hard.transit;
  const base::Duration rested = std::max(hard.on_time, soft.on_time) + rig.limits.min_rest +
                                std::max(transit_spread, base::Duration{});
  return std::max({rested, hard.transit, soft.transit});
}

/// The longest pulse must end, and the coil rest, before the next pulse's earliest begin; and the
/// plunger must arrive before it, or nobody knows which pulse a contact belongs to.
void check_interval(const scenario::Envelope& envelope, const std::string& what,
                    const base::Place& place, const rig::RigFile& rig) {
  if (envelope.taps < 2) return;
  base::Duration least{};
  for (const rig::CalibrationCurve& curve : rig.calibration->curves) {
    least = std::max(least, least_interval(curve, envelope, rig));
  }
  if (envelope.shortest_interval >= least) return;
  throw InputError(place,
                   fmt::format("contacts that may come {:.1f} ms apart in {}",
                               base::to_ms(envelope.shortest_interval), what),
                   fmt::format("at least {:.1f} ms (pulse, rest of {:.1f} ms and spread of the "
                               "transit on this rig)",
                               base::to_ms(least), base::to_ms(rig.limits.min_rest)),
                   "widen contacts_ms or lessen the jitter");
}

void check_envelopes(const scenario::Scenario& scenario, const base::Place& place,
                     const rig::RigFile& rig) {
  for (std::size_t i = 0; i < scenario.blocks.size(); ++i) {
    if (scenario.blocks[i].quiet) continue;
    const scenario::Envelope envelope = envelope_of(scenario, scenario.blocks[i]);
    const std::string what = block_name(scenario, i);
    check_speeds(envelope.slowest, envelope.fastest, what, place, rig);
    check_interval(envelope, what, place, rig);
  }
  if (!scenario.reference) return;
  const scenario::ReferenceTaps& taps = *scenario.reference;
  if (!rig.contact.is_sensed()) {
    throw InputError(place, "[reference] with a rig that senses no contact",
                     "a contact sensor, because reference taps compare measured transits",
                     "take [reference] out or give the rig a [contact] kind");
  }
  check_speeds(taps.strike, taps.strike, "[reference]", place, rig);
  check_interval({taps.strike, taps.strike, taps.spacing, {}, taps.taps}, "[reference]", place,
                 rig);
}

bool needs_taps(const scenario::Scenario& scenario) {
  return scenario.reference.has_value() ||
         std::any_of(scenario.blocks.begin(), scenario.blocks.end(),
                     [](const scenario::Block& block) { return !block.quiet; });
}

/// Keeps the coil's course in a bounded number of equal stretches.
class CoilCourse {
 public:
  explicit CoilCourse(base::Duration whole)
      : stretch_(std::max<base::Duration>(whole / coil_points, std::chrono::seconds{1})) {}

  void take(base::Instant at, double winding_c, double duty_percent) {
    const auto index =
        std::min(static_cast<std::size_t>((at - base::segment_start) / stretch_), coil_points - 1);
    if (points_.size() <= index) points_.resize(index + 1);
    CoilPoint& point = points_[index];
    point.at = base::segment_start + stretch_ * index;
    point.winding_c = std::max(point.winding_c, winding_c);
    point.duty_percent = std::max(point.duty_percent, duty_percent);
  }

  /// The stretches in which something was tapped.
  [[nodiscard]] std::vector<CoilPoint> points() && {
    std::erase_if(points_, [](const CoilPoint& point) { return point.winding_c == 0.0; });
    return std::move(points_);
  }

 private:
  base::Duration stretch_;
  std::vector<CoilPoint> points_;
};

std::string trial_name(const scenario::Scenario& scenario, const base::Trial& trial) {
  if (trial.kind == base::TrialKind::reference) return "the reference taps";
  return fmt::format("trial {} of {}", trial.id.number + 1, block_name(scenario, trial.id.block));
}

/// One walk over the plan, trial after trial, at the times a run without voids would have.
class Walk {
 public:
  Walk(const scenario::Scenario& scenario, const base::Place& place, const rig::RigFile& rig)
      : scenario_(scenario),
        place_(place),
        aim_(rig),
        pulses_(rig.limits, rig.coil, {cold(rig.coil)}, base::segment_start),
        course_(expected_duration(scenario)) {}

  void present(const base::Trial& trial) {
    const double warm_c = pulses_.coil_at(now_).winding_c;
    const base::Instant start = start_of(trial, earliest_, now_, aim_, warm_c);
    const auto pulses = trial.taps.empty()
                            ? std::vector<base::Pulse>{}
                            : pulses_of(trial, start, aim_, pulses_.coil_at(start).winding_c);
    if (!pulses.empty()) tap(trial, pulses);
    if (trial.kind == base::TrialKind::quiet) found_.quiet += trial.window;
    now_ = over(trial, start, pulses);
    earliest_ = earliest_next(trial, start);
  }

  [[nodiscard]] Rehearsal finish() && {
    found_.length = now_ - base::segment_start;
    found_.coil = std::move(course_).points();
    return std::move(found_);
  }

 private:
  void tap(const base::Trial& trial, const std::vector<base::Pulse>& pulses) {
    if (const auto refusal = pulses_.check(pulses)) {
      throw InputError(place_,
                       fmt::format("{} in {}, {:.1f} s after the start", refusal->reason,
                                   trial_name(scenario_, trial),
                                   base::to_s(pulses.front().on.time_since_epoch())),
                       fmt::format("a plan within the rig's limit of {}", refusal->limit),
                       "lengthen gap_ms, tap fewer or softer, or rehearse on a rig that allows it");
    }
    pulses_.accept(pulses);
    const base::Instant off = pulses.back().off();
    const double winding_c = pulses_.coil_at(off).winding_c;
    const double duty = pulses_.duty_percent_at(off);
    found_.peak_winding_c = std::max(found_.peak_winding_c, winding_c);
    found_.peak_duty_percent = std::max(found_.peak_duty_percent, duty);
    course_.take(off, winding_c, duty);
    found_.taps += pulses.size();
    const bool reference = trial.kind == base::TrialKind::reference;
    (reference ? found_.reference_groups : found_.trials) += 1;
  }

  const scenario::Scenario& scenario_;
  const base::Place& place_;
  Aim aim_;
  safety::PulseCheck pulses_;
  CoilCourse course_;
  Rehearsal found_;
  base::Instant now_ = base::segment_start;
  base::Instant earliest_ = base::segment_start;
};

}  // namespace

Rehearsal rehearse(const scenario::Scenario& scenario, const std::string& scenario_file,
                   const rig::RigFile& rig, const std::function<void(double)>& still_going) {
  const base::Place place{scenario_file, 0, 0};
  if (needs_taps(scenario)) {
    if (!rig.calibration) {
      throw InputError(place, "strike speeds for a rig without [calibration]",
                       "a calibrated rig, because strikes are commanded in m/s",
                       "calibrate the rig or use a rig file with a [calibration]");
    }
    check_envelopes(scenario, place, rig);
  }
  Walk walk(scenario, place, rig);
  scenario::History history(scenario);
  const auto whole = static_cast<double>(history.remaining());
  for (std::uint64_t i = 0; const auto trial = next(scenario, history); ++i) {
    walk.present(*trial);
    history.took(trial->id);
    history.answered(*trial, {false});  // of a device that hears nothing: strikes go on hard
    if (still_going && i % 4096 == 0) {
      still_going(1.0 - static_cast<double>(history.remaining()) / whole);
    }
  }
  return std::move(walk).finish();
}

}  // namespace plexor::run
