#include <algorithm>
#include <stdexcept>

#include "base/random.hpp"
#include "scenario/bounds.hpp"
#include "scenario/planner.hpp"

namespace plexor::scenario {

namespace {

using base::DrawKey;
using base::Duration;
using base::Purpose;
using base::StrikeSpeed;
using base::TrialId;

/// All draws of one trial. The attempt is no part of the key: a repeat is the same trial again.
class Draws {
 public:
  Draws(std::uint64_t seed, const TrialId& id) : seed_(seed), id_(id) {}

  [[nodiscard]] std::int64_t between(Purpose purpose, std::size_t tap, std::int64_t low,
                                     std::int64_t high) const {
    return base::uniform_between(key(purpose, tap), low, high);
  }

  /// A normal amount about 0, truncated at 3 sd.
  [[nodiscard]] std::int64_t normal(Purpose purpose, std::size_t tap, std::int64_t sd) const {
    return base::scale_q32(sd, base::truncated_normal_q32(key(purpose, tap)));
  }

 private:
  [[nodiscard]] DrawKey key(Purpose purpose, std::size_t tap) const {
    return {.seed = seed_,
            .block = id_.block,
            .trial = id_.number,
            .tap = static_cast<std::uint32_t>(tap),
            .purpose = purpose};
  }

  std::uint64_t seed_;
  TrialId id_;
};

/// Wing & Kristofferson, "Response delays and the timing of discrete motor responses",
/// Perception & Psychophysics 14 (1973) 5-12: interval j = clock j + motor j+1 - motor j.
/// Summed over the intervals, only the first and the latest motor delay remain.
std::vector<Duration> human_contacts(const Rhythm& rhythm, const Jitter& jitter,
                                     const Draws& draws) {
  const auto motor_delay = [&](std::size_t tap) {
    return Duration{draws.normal(Purpose::motor_jitter, tap, jitter.motor_sd.count())};
  };
  std::vector<Duration> contacts{Duration::zero()};
  contacts.reserve(rhythm.contacts.size());
  const Duration first_delay = motor_delay(0);
  Duration clock{};
  for (std::size_t k = 1; k < rhythm.contacts.size(); ++k) {
    const Duration nominal = nominal_interval(rhythm, k);
    const std::int64_t clock_sd = share_ppm(nominal.count(), jitter.tempo_cv_ppm);
    clock += nominal + Duration{draws.normal(Purpose::clock_jitter, k, clock_sd)};
    contacts.push_back(clock + motor_delay(k) - first_delay);
  }
  return contacts;
}

std::vector<Duration> draw_contacts(const Rhythm& rhythm, const Jitter& jitter,
                                    const Draws& draws) {
  if (jitter.model == Jitter::Model::human) return human_contacts(rhythm, jitter, draws);
  std::vector<Duration> contacts = rhythm.contacts;
  for (std::size_t k = 1; k < contacts.size(); ++k) {
    if (jitter.model == Jitter::Model::uniform) {
      const std::int64_t spread = jitter.spread.count();
      contacts[k] += Duration{draws.between(Purpose::motor_jitter, k, -spread, spread)};
    } else if (jitter.model == Jitter::Model::normal) {
      contacts[k] += Duration{draws.normal(Purpose::motor_jitter, k, jitter.sd.count())};
    }
  }
  return contacts;
}

/// From the first value in the first trial to the second in the last, rounded to nearest.
StrikeSpeed ramp_strike(const Strength& strength, std::uint32_t number, std::uint32_t trials) {
  const std::int64_t from = strength.values.at(0).um_s;
  const std::int64_t to = strength.values.at(1).um_s;
  const std::int64_t steps = std::max<std::int64_t>(std::int64_t{trials} - 1, 1);
  const std::int64_t done = number;
  return {(from * (steps - done) + to * done + steps / 2) / steps};
}

StrikeSpeed draw_strike(const Block& block, const Draws& draws, std::uint32_t number,
                        std::size_t tap) {
  const Strength& strength = block.strength;
  const StrikeSpeed first = strength.values.at(0);
  switch (strength.kind) {
    case Strength::Kind::fixed: break;
    case Strength::Kind::spread:
      return {first.um_s +
              draws.normal(Purpose::strike, tap, share_ppm(first.um_s, strength.cv_ppm))};
    case Strength::Kind::list: return strength.values[number % strength.values.size()];
    case Strength::Kind::adaptive: break;
    case Strength::Kind::ramp: return ramp_strike(strength, number, block.trials);
  }
  return first;
}

base::Trial rhythm_trial(const Scenario& scenario, const Block& block, std::uint32_t number,
                         const Draws& draws) {
  base::Trial trial;
  trial.kind = base::TrialKind::rhythm;
  trial.rhythm = block.rhythm;
  trial.window = block.window;
  const auto contacts = draw_contacts(scenario.rhythms.at(block.rhythm), scenario.jitter, draws);
  trial.taps.reserve(contacts.size());
  for (std::size_t k = 0; k < contacts.size(); ++k) {
    trial.taps.push_back({contacts[k], draw_strike(block, draws, number, k)});
  }
  return trial;
}

base::Trial quiet_trial(const Block& block, std::uint32_t number) {
  base::Trial trial;
  trial.kind = base::TrialKind::quiet;
  trial.window = number + 1 == block.trials ? block.last_window : block.window;
  return trial;
}

base::Trial reference_trial(const Scenario& scenario, const TrialId& id) {
  const ReferenceTaps& reference = scenario.reference.value();
  base::Trial trial;
  trial.id = id;
  trial.kind = base::TrialKind::reference;
  trial.window = reference.spacing;
  trial.gap = reference_gap(scenario);
  trial.taps.reserve(reference.taps);
  for (std::uint32_t k = 0; k < reference.taps; ++k) {
    trial.taps.push_back({k * reference.spacing, reference.strike});
  }
  return trial;
}

}  // namespace

Duration reference_gap(const Scenario& scenario) {
  // Devices hear these taps too: an answer to them must not fall into the next trial.
  Duration gap = std::max(default_gap, scenario.reference.value().spacing);
  for (const Block& block : scenario.blocks) {
    if (!block.quiet) gap = std::max(gap, block.window);
  }
  return gap;
}

base::Trial draw_trial(const Scenario& scenario, const TrialId& id) {
  if (id.block == base::reference_block) return reference_trial(scenario, id);
  const Block& block = scenario.blocks.at(id.block);
  if (id.number >= block.trials) throw std::logic_error("draw_trial: no such trial in the block");
  const Draws draws(scenario.seed, id);
  base::Trial trial =
      block.quiet ? quiet_trial(block, id.number) : rhythm_trial(scenario, block, id.number, draws);
  trial.id = id;
  trial.gap =
      Duration{draws.between(Purpose::gap, 0, block.gap_min.count(), block.gap_max.count())};
  return trial;
}

}  // namespace plexor::scenario
