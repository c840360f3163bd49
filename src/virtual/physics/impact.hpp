#pragma once

#include <string_view>
#include <vector>

namespace plexor::physics {

// A rounded tip against a flat surface. SI units.
//
// Elastic contact is a check of the code more than of the world: hard tips dent
// wood, last longer and peak lower than Hertz says. Calibrate before believing
// an absolute force.

struct Elastic {
  double youngs_pa = 0.0;
  double poisson = 0.0;
};

struct TipMaterial {
  std::string_view name;
  Elastic elastic;
  std::string_view source;
};

/// Tips to choose from, hardest first. The soft ones follow Hertz only roughly.
inline constexpr TipMaterial tip_materials[] = {
    {"steel", {200e9, 0.30}, "Irvine, Damping properties of materials"},
    {"nylon", {2.8e9, 0.40}, "from memory: engineering plastics tables"},
    {"hard rubber", {50e6, 0.48}, "from memory: rubber hardness tables"},
};

/// E*: 1/E* = (1 - nu1^2)/E1 + (1 - nu2^2)/E2. Johnson 1985, Contact Mechanics, ch. 4.
[[nodiscard]] double contact_modulus_pa(const Elastic& tip, const Elastic& surface);

/// Mean pressure at an indentation d: F / (pi a^2) with a = sqrt(R d).
[[nodiscard]] double mean_pressure_pa(double force_n, double tip_radius_m, double indentation_m);

/// A moving mass with a round tip meets a surface.
struct Impact {
  double mass_kg = 0.0;
  double tip_radius_m = 0.0;
  double modulus_pa = 0.0;  ///< E*
  double speed_m_s = 0.0;
  /// Hunt-Crossley: F = 4/3 E* sqrt(R) d^1.5 (1 + c d'). This is c, see damping_s_m().
  double damping_s_m = 0.0;
  /// Speed that the surface yields per newton: 1/Z, 0 for a rigid one. For a
  /// plate, until its edges answer: 1 / infinite_plate_impedance.
  double mobility_m_ns = 0.0;
};

// Closed forms for an elastic contact with a rigid surface (damping and mobility
// are not looked at): Johnson 1985, Contact Mechanics, section 11.4.

/// (15 m v^2 / (16 sqrt(R) E*))^(2/5)
[[nodiscard]] double hertz_indentation_m(const Impact& impact);
/// 4/3 E* sqrt(R) d^1.5 at that indentation
[[nodiscard]] double hertz_peak_force_n(const Impact& impact);
/// 2.94328 d/v, which is 2.86827 (m^2 / (R E*^2 v))^(1/5)
[[nodiscard]] double hertz_contact_time_s(const Impact& impact);

/// The c of Hunt and Crossley (1975, J. Appl. Mech. 42) that makes a blow of this
/// speed on a rigid surface come back with this restitution: the root of
/// ln((1 + x)/(1 - e x)) = (1 + e) x with x = c v, which follows from
/// m v dv = -k d^1.5 (1 + c v) dd over the whole contact. Restitution in [0.05, 1].
[[nodiscard]] double damping_s_m(double restitution, double speed_m_s);

/// Zener's inelasticity parameter m / (Z T0), with T0 = (m^2 / (k^2 v))^(1/5) and
/// k = 4/3 E* sqrt(R). Without damping the restitution is about
/// exp(-1.72 lambda) (from memory: Zener 1941, Phys. Rev. 59).
[[nodiscard]] double zener_parameter(const Impact& impact);

struct ForcePoint {
  double time_s = 0.0;
  double force_n = 0.0;
  double indentation_m = 0.0;
  double speed_m_s = 0.0;  ///< of the mass, towards the surface
};

struct ImpactResult {
  double peak_force_n = 0.0;
  double contact_s = 0.0;
  double peak_indentation_m = 0.0;
  double restitution = 0.0;  ///< speed kept; 0 if the mass does not come back
  double impulse_ns = 0.0;
  std::vector<ForcePoint> points;  ///< every integration step, from touching to leaving
};

/// Integrates the contact (classical Runge-Kutta, IEEE basic operations and roots).
/// Ends when the surfaces part, or after 20 Hertzian contact times if a yielding
/// surface swallows the blow. Throws std::logic_error unless mass, radius, modulus
/// and speed are positive and damping and mobility are not negative.
[[nodiscard]] ImpactResult strike(const Impact& impact);

/// The force at 0, step, 2 step ... seconds after touching, until the surfaces have parted.
[[nodiscard]] std::vector<double> force_samples_n(const ImpactResult& result, double step_s);

/// A force pulse as what rings sees it: an impulse, spread over slices of time.
struct ForcePulse {
  struct Slice {
    double since_middle_s;
    double share;  ///< of the impulse; all together 1
  };
  double impulse_ns = 0.0;
  double middle_s = 0.0;  ///< centroid, after touching
  std::vector<Slice> slices;
};

/// The pulse of a computed impact, and a half sine of this impulse and width.
[[nodiscard]] ForcePulse force_pulse(const ImpactResult& result);
[[nodiscard]] ForcePulse half_sine_pulse(double impulse_ns, double width_s);

/// Spectrum of a pulse about its middle, relative to 0 Hz: the sum of share exp(-i 2 pi f t).
struct Spectrum {
  double real;
  double imaginary;
};
[[nodiscard]] Spectrum spectrum(const ForcePulse& pulse, double frequency_hz);

/// Spectrum of a half-sine pulse of this width, relative to 0 Hz:
/// |cos(pi f T) / (1 - (2 f T)^2)|; first zero at f = 1.5/T.
[[nodiscard]] double half_sine_spectrum(double frequency_hz, double width_s);

/// m v^2 / 2
[[nodiscard]] double impact_energy_j(double mass_kg, double speed_m_s);
/// m g h with standard gravity
[[nodiscard]] double drop_energy_j(double mass_kg, double height_m);
/// The highest class of IEC 62262 whose energy is not above this: "IK00" (below
/// 0.14 J) to "IK11" (50 J).
[[nodiscard]] std::string_view ik_class(double energy_j);

}  // namespace plexor::physics
