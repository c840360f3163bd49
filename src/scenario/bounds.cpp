#include "scenario/bounds.hpp"

#include <algorithm>
#include <limits>

#include "base/random.hpp"
#include "scenario/planner.hpp"

namespace plexor::scenario {

namespace {

using base::Duration;
using base::truncation_sd;

/// The furthest that one contact other than the first moves from its nominal
/// instant under the models that move each contact by itself.
Duration largest_move(const Jitter& jitter) {
  switch (jitter.model) {
    case Jitter::Model::uniform: return jitter.spread;
    case Jitter::Model::normal: return truncation_sd * jitter.sd;
    case Jitter::Model::none:
    case Jitter::Model::human: break;
  }
  return Duration::zero();
}

/// Human: the furthest that the clock can stretch or shrink interval k.
Duration largest_clock_error(const Rhythm& rhythm, const Jitter& jitter, std::size_t k) {
  return truncation_sd *
         Duration{share_ppm(nominal_interval(rhythm, k).count(), jitter.tempo_cv_ppm)};
}

/// Human: between any two contacts the motor delays of both ends count once each.
Duration largest_motor_error(const Jitter& jitter) { return 2 * truncation_sd * jitter.motor_sd; }

}  // namespace

Duration nominal_interval(const Rhythm& rhythm, std::size_t k) {
  return rhythm.contacts.at(k) - rhythm.contacts.at(k - 1);
}

Duration shortest_interval(const Rhythm& rhythm, const Jitter& jitter, std::size_t k) {
  const Duration nominal = nominal_interval(rhythm, k);
  if (jitter.model == Jitter::Model::human) {
    return nominal - largest_clock_error(rhythm, jitter, k) - largest_motor_error(jitter);
  }
  const int moving_ends = k == 1 ? 1 : 2;  // the first contact never moves
  return nominal - moving_ends * largest_move(jitter);
}

Duration longest_length(const Rhythm& rhythm, const Jitter& jitter) {
  if (rhythm.contacts.size() < 2) return Duration::zero();
  if (jitter.model != Jitter::Model::human) return rhythm.length() + largest_move(jitter);
  Duration length = rhythm.length() + largest_motor_error(jitter);
  for (std::size_t k = 1; k < rhythm.contacts.size(); ++k) {
    length += largest_clock_error(rhythm, jitter, k);
  }
  return length;
}

SpeedRange speed_range(const Strength& strength) {
  if (strength.values.empty()) return {};
  const auto [slowest, fastest] =
      std::minmax_element(strength.values.begin(), strength.values.end());
  if (strength.kind != Strength::Kind::spread) return {*slowest, *fastest};
  const std::int64_t mean = strength.values.front().um_s;
  const std::int64_t reach = truncation_sd * share_ppm(mean, strength.cv_ppm);
  return {{mean - reach}, {mean + reach}};
}

Envelope envelope_of(const Scenario& scenario, const Block& block) {
  Envelope envelope;
  envelope.shortest_interval = Duration::max();
  if (block.quiet) return envelope;
  const Rhythm& rhythm = scenario.rhythms.at(block.rhythm);
  const SpeedRange speeds = speed_range(block.strength);
  envelope.slowest = speeds.slowest;
  envelope.fastest = speeds.fastest;
  envelope.taps = static_cast<std::uint32_t>(rhythm.contacts.size());
  envelope.longest_length = longest_length(rhythm, scenario.jitter);
  for (std::size_t k = 1; k < rhythm.contacts.size(); ++k) {
    envelope.shortest_interval =
        std::min(envelope.shortest_interval, shortest_interval(rhythm, scenario.jitter, k));
  }
  return envelope;
}

}  // namespace plexor::scenario
