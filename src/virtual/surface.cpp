#include "virtual/surface.hpp"

#include <algorithm>

#include "virtual/physics/elementary.hpp"
#include "virtual/physics/piezo.hpp"

namespace plexor::virtual_rig {

namespace {

/// Blows on hard surfaces last 0.1 ms and more, and excite little above this.
constexpr double highest_hz = 5000.0;
/// Of large thin plates, which have hundreds, those that bring the most energy.
constexpr std::size_t most_modes = 64;
constexpr double usual_contact_s = 0.3e-3;

/// Charge for an acceleration amplitude of 1 m/s^2 at a frequency: the disc and its mass below,
/// through and above their resonance, 1/(1 - r^2 + i r/Q).
Rotor charge_per_acceleration(const DiscSettings& disc, double hz) {
  const double resonance =
      physics::seismic_resonance_hz(disc.resonance_hz, disc.disc_kg, disc.seismic_kg);
  const double r = hz / resonance;
  const double real = 1.0 - r * r;
  const double imaginary = r / disc.quality;
  const double below =
      physics::charge_c(disc.disc, physics::seismic_force_n(disc.disc_kg, disc.seismic_kg, 1.0));
  const double scale = below / (real * real + imaginary * imaginary);
  return {scale * real, -scale * imaginary};
}

double energy(const physics::PlateMode& mode, const Rotor& charge) {
  const double spectrum = physics::half_sine_spectrum(mode.hz, usual_contact_s);
  return (charge.real * charge.real + charge.imaginary * charge.imaginary) * spectrum * spectrum *
         mode.decay_s;
}

}  // namespace

Surface::Surface(const SurfaceSettings& surface, const DiscSettings& disc,
                 std::span<const physics::Spot> spots, base::Duration sample_period,
                 double silence_c) {
  struct Candidate {
    double energy;
    Mode mode;
  };
  std::vector<Candidate> candidates;
  for (const physics::Spot& spot : spots) {
    const auto modes = physics::ringing_modes(surface.plate, spot, surface.sensor, highest_hz);
    for (std::size_t i = 0; i < modes.size(); ++i) {
      if (candidates.size() <= i) {
        candidates.push_back(
            {0.0, {modes[i].hz, {}, {modes[i].hz, modes[i].decay_s, sample_period, silence_c}}});
      }
      const Rotor response = charge_per_acceleration(disc, modes[i].hz);
      // Ringing with velocity v cos(w t), a plate accelerates with -w v sin(w t).
      const double acceleration = -2.0 * physics::pi * modes[i].hz * modes[i].velocity_per_impulse;
      const Rotor charge{acceleration * response.real, acceleration * response.imaginary};
      candidates[i].mode.charge_per_impulse.push_back(charge);
      candidates[i].energy = std::max(candidates[i].energy, energy(modes[i], charge));
    }
  }
  std::ranges::stable_sort(candidates, std::greater{}, &Candidate::energy);
  for (Candidate& candidate : candidates) {
    if (modes_.size() == most_modes || candidate.energy == 0.0) break;
    modes_.push_back(std::move(candidate.mode));
  }
}

void Surface::strike(std::size_t spot, const physics::ForcePulse& blow,
                     base::Duration before_next) {
  for (Mode& mode : modes_) {
    const physics::Spectrum force = physics::spectrum(blow, mode.hz);
    const Rotor scale{blow.impulse_ns * force.real, blow.impulse_ns * force.imaginary};
    mode.ringing.excite(product(mode.charge_per_impulse[spot], scale), before_next);
  }
}

bool Surface::silent() const {
  return std::ranges::all_of(modes_, [](const Mode& mode) { return mode.ringing.silent(); });
}

void Surface::add_to(std::span<double> charge_c) {
  for (Mode& mode : modes_) mode.ringing.add_to(charge_c);
}

}  // namespace plexor::virtual_rig
