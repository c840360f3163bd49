#include "virtual/physics/impact.hpp"

#include <algorithm>
#include <cmath>
#include <stdexcept>

#include "virtual/physics/elementary.hpp"

namespace plexor::physics {

namespace {

constexpr int steps_per_contact = 500;
constexpr int most_contact_times = 20;

/// 2 int_0^1 dx / sqrt(1 - x^2.5)
constexpr double contact_time_factor = 2.943275;

double stiffness(const Impact& impact) {
  return 4.0 / 3.0 * impact.modulus_pa * std::sqrt(impact.tip_radius_m);
}

struct ContactState {
  double indentation_m;
  double speed_m_s;  ///< of the mass
};

ContactState moved(const ContactState& from, const ContactState& slope, double time_s) {
  return {from.indentation_m + slope.indentation_m * time_s,
          from.speed_m_s + slope.speed_m_s * time_s};
}

class Contact {
 public:
  explicit Contact(const Impact& impact) : impact_(impact), stiffness_(stiffness(impact)) {}

  /// The force moves the surface, and the damping depends on how fast the tip
  /// enters the moving surface: d' = v - F/Z with F = s (1 + c d'), solved for d'.
  [[nodiscard]] double entering_m_s(const ContactState& state) const {
    const double spring = spring_n(state);
    return (state.speed_m_s - spring * impact_.mobility_m_ns) /
           (1.0 + spring * impact_.damping_s_m * impact_.mobility_m_ns);
  }

  [[nodiscard]] double force_n(const ContactState& state) const {
    const double damped = 1.0 + impact_.damping_s_m * entering_m_s(state);
    return spring_n(state) * std::max(damped, 0.0);  // surfaces don't pull
  }

  [[nodiscard]] ContactState after(const ContactState& start, double time_s) const {
    const ContactState a = slope(start);
    const ContactState b = slope(moved(start, a, time_s / 2.0));
    const ContactState c = slope(moved(start, b, time_s / 2.0));
    const ContactState d = slope(moved(start, c, time_s));
    ContactState end = moved(start, a, time_s / 6.0);
    end = moved(end, b, time_s / 3.0);
    end = moved(end, c, time_s / 3.0);
    return moved(end, d, time_s / 6.0);
  }

 private:
  [[nodiscard]] double spring_n(const ContactState& state) const {
    return stiffness_ * power_1_5(std::max(state.indentation_m, 0.0));
  }
  [[nodiscard]] ContactState slope(const ContactState& state) const {
    return {entering_m_s(state), -force_n(state) / impact_.mass_kg};
  }

  const Impact& impact_;
  double stiffness_;
};

void require_usable(const Impact& impact) {
  const bool usable = impact.mass_kg > 0.0 && impact.tip_radius_m > 0.0 &&
                      impact.modulus_pa > 0.0 && impact.speed_m_s > 0.0 &&
                      impact.damping_s_m >= 0.0 && impact.mobility_m_ns >= 0.0;
  if (!usable) throw std::logic_error("impact: values that can't be integrated");
}

/// The instant in the last step at which the tip leaves: the indentation is nearly straight there.
double leaving_part(const ContactState& before, const ContactState& after) {
  return before.indentation_m / (before.indentation_m - after.indentation_m);
}

/// Excess of the left side over the right in the equation of damping_s_m().
double excess(double x, double restitution) {
  return natural_log((1.0 + x) / (1.0 - restitution * x)) - (1.0 + restitution) * x;
}

}  // namespace

double contact_modulus_pa(const Elastic& tip, const Elastic& surface) {
  return 1.0 / ((1.0 - tip.poisson * tip.poisson) / tip.youngs_pa +
                (1.0 - surface.poisson * surface.poisson) / surface.youngs_pa);
}

double mean_pressure_pa(double force_n, double tip_radius_m, double indentation_m) {
  return force_n / (pi * tip_radius_m * indentation_m);
}

double hertz_indentation_m(const Impact& impact) {
  const double root = fifth_root(15.0 * impact.mass_kg * impact.speed_m_s * impact.speed_m_s /
                                 (16.0 * std::sqrt(impact.tip_radius_m) * impact.modulus_pa));
  return root * root;
}

double hertz_peak_force_n(const Impact& impact) {
  return stiffness(impact) * power_1_5(hertz_indentation_m(impact));
}

double hertz_contact_time_s(const Impact& impact) {
  return contact_time_factor * hertz_indentation_m(impact) / impact.speed_m_s;
}

double damping_s_m(double restitution, double speed_m_s) {
  if (restitution >= 1.0) return 0.0;
  // The left side starts below the right and grows without bound towards x = 1/e.
  double low = 0.0;
  double high = 1.0 / restitution;
  for (int i = 0; i < 60; ++i) {
    const double middle = 0.5 * (low + high);
    if (middle == high) break;
    (excess(middle, restitution) > 0.0 ? high : low) = middle;
  }
  return low / speed_m_s;
}

double zener_parameter(const Impact& impact) {
  const double k = stiffness(impact);
  const double time_s = fifth_root(impact.mass_kg * impact.mass_kg / (k * k * impact.speed_m_s));
  return impact.mass_kg * impact.mobility_m_ns / time_s;
}

ImpactResult strike(const Impact& impact) {
  require_usable(impact);
  const Contact contact(impact);
  const double step_s = hertz_contact_time_s(impact) / steps_per_contact;
  ImpactResult result;
  ContactState state{0.0, impact.speed_m_s};
  result.points.push_back({0.0, 0.0, 0.0, state.speed_m_s});
  for (int i = 1; i <= steps_per_contact * most_contact_times; ++i) {
    const ContactState next = contact.after(state, step_s);
    const bool left = next.indentation_m <= 0.0;
    const double part = left ? leaving_part(state, next) : 1.0;
    result.contact_s += part * step_s;
    state.speed_m_s += part * (next.speed_m_s - state.speed_m_s);
    state.indentation_m = left ? 0.0 : next.indentation_m;
    const double force = left ? 0.0 : contact.force_n(state);
    result.points.push_back({result.contact_s, force, state.indentation_m, state.speed_m_s});
    result.peak_force_n = std::max(result.peak_force_n, force);
    result.peak_indentation_m = std::max(result.peak_indentation_m, state.indentation_m);
    if (left) break;
  }
  result.restitution = std::max(-state.speed_m_s / impact.speed_m_s, 0.0);
  result.impulse_ns = impact.mass_kg * (impact.speed_m_s - state.speed_m_s);
  return result;
}

std::vector<double> force_samples_n(const ImpactResult& result, double step_s) {
  std::vector<double> samples;
  std::size_t next = 1;
  for (int i = 0;; ++i) {
    const double time_s = i * step_s;
    while (next < result.points.size() && result.points[next].time_s < time_s) ++next;
    if (next == result.points.size()) return samples;
    const ForcePoint& a = result.points[next - 1];
    const ForcePoint& b = result.points[next];
    const double part = (time_s - a.time_s) / (b.time_s - a.time_s);
    samples.push_back(a.force_n + part * (b.force_n - a.force_n));
  }
}

namespace {

constexpr int slices_per_pulse = 40;

ForcePulse sliced(double impulse_ns, const std::vector<double>& force_n, double step_s) {
  ForcePulse pulse{.impulse_ns = impulse_ns, .middle_s = 0.0, .slices = {}};
  double sum = 0.0;
  for (const double force : force_n) sum += force;
  for (std::size_t i = 0; i < force_n.size(); ++i) {
    pulse.middle_s += static_cast<double>(i) * step_s * force_n[i] / sum;
  }
  for (std::size_t i = 0; i < force_n.size(); ++i) {
    pulse.slices.push_back({static_cast<double>(i) * step_s - pulse.middle_s, force_n[i] / sum});
  }
  return pulse;
}

}  // namespace

ForcePulse force_pulse(const ImpactResult& result) {
  const double step_s = result.contact_s / slices_per_pulse;
  return sliced(result.impulse_ns, force_samples_n(result, step_s), step_s);
}

ForcePulse half_sine_pulse(double impulse_ns, double width_s) {
  std::vector<double> force_n;
  for (int i = 0; i <= slices_per_pulse; ++i) {
    force_n.push_back(sin_cos_turns(0.5 * i / slices_per_pulse).sin);
  }
  return sliced(impulse_ns, force_n, width_s / slices_per_pulse);
}

Spectrum spectrum(const ForcePulse& pulse, double frequency_hz) {
  Spectrum sum{0.0, 0.0};
  for (const ForcePulse::Slice& slice : pulse.slices) {
    const SinCos angle = sin_cos_turns(frequency_hz * slice.since_middle_s);
    sum.real += slice.share * angle.cos;
    sum.imaginary -= slice.share * angle.sin;
  }
  return sum;
}

double half_sine_spectrum(double frequency_hz, double width_s) {
  const double cycles = frequency_hz * width_s;
  const double denominator = 1.0 - 4.0 * cycles * cycles;
  constexpr double too_near_0_over_0 = 1e-6;
  if (std::abs(denominator) < too_near_0_over_0) return pi / 4.0;
  return std::abs(sin_cos_turns(0.5 * cycles).cos / denominator);
}

double impact_energy_j(double mass_kg, double speed_m_s) {
  return 0.5 * mass_kg * speed_m_s * speed_m_s;
}

double drop_energy_j(double mass_kg, double height_m) {
  constexpr double standard_gravity_m_s2 = 9.80665;
  return mass_kg * standard_gravity_m_s2 * height_m;
}

std::string_view ik_class(double energy_j) {
  struct Class {
    double energy_j;
    std::string_view name;
  };
  static constexpr Class classes[] = {{50.0, "IK11"}, {20.0, "IK10"}, {10.0, "IK09"}, {5.0, "IK08"},
                                      {2.0, "IK07"},  {1.0, "IK06"},  {0.7, "IK05"},  {0.5, "IK04"},
                                      {0.35, "IK03"}, {0.2, "IK02"},  {0.14, "IK01"}};
  for (const Class& one : classes) {
    if (energy_j >= one.energy_j) return one.name;
  }
  return "IK00";
}

}  // namespace plexor::physics
