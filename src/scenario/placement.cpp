#include "scenario/placement.hpp"

#include <algorithm>
#include <stdexcept>
#include <utility>

#include "base/basic_math.hpp"

namespace plexor::scenario {

namespace {

using base::StrikeSpeed;

StrikeSpeed scaled(StrikeSpeed speed, double factor) {
  return {static_cast<std::int64_t>(static_cast<double>(speed.um_s) * factor + 0.5)};
}

/// From the softest to the hardest, evenly apart in their logarithm, by 3 % at the most.
std::vector<StrikeSpeed> even_speeds(StrikeSpeed softest, StrikeSpeed hardest) {
  constexpr double widest_step = 0.03;
  const double range = base::natural_log(base::to_m_s(hardest) / base::to_m_s(softest));
  const auto steps = static_cast<std::int64_t>(range / widest_step) + 1;
  std::vector<StrikeSpeed> speeds;
  for (std::int64_t i = 0; i < steps; ++i) {
    const double along = range * static_cast<double>(i) / static_cast<double>(steps);
    speeds.push_back(scaled(softest, base::exponential_of(along)));
  }
  speeds.push_back(hardest);
  return speeds;
}

/// Up and down from the start by a step at a time, as far as they lie within both ends.
std::vector<StrikeSpeed> stepped_speeds(const Strength& strength) {
  const Placing& placing = *strength.placing;
  const double ratio = 1.0 + static_cast<double>(placing.step_ppm) / 1e6;
  std::vector<StrikeSpeed> speeds;
  double down = 1.0;
  while (scaled(placing.start, down) >= strength.values[0]) down /= ratio;
  double factor = down * ratio;
  for (; scaled(placing.start, factor) <= strength.values[1]; factor *= ratio) {
    speeds.push_back(scaled(placing.start, factor));
  }
  return speeds;
}

}  // namespace

std::vector<StrikeSpeed> placed_speeds(const Strength& strength) {
  return strength.placing->rule == Placing::Rule::bayesian
             ? even_speeds(strength.values[0], strength.values[1])
             : stepped_speeds(strength);
}

Placement::Placement(const Strength& strength, std::uint32_t devices)
    : placing_(strength.placing.value()),
      grid_(std::make_shared<const CurveGrid>(
          placed_speeds(strength), placing_.percent == 50 ? HeardShare::half : HeardShare::most)),
      beliefs_(devices, ThresholdBelief(grid_)) {}

void Placement::answered(std::uint32_t trial, StrikeSpeed speed, const std::vector<bool>& heard) {
  const auto& speeds = grid_->speeds();
  const auto found = std::lower_bound(speeds.begin(), speeds.end(), speed);
  if (found == speeds.end() || *found != speed || heard.size() != beliefs_.size()) {
    throw std::logic_error("Placement: an answer to what was not asked");
  }
  answers_.push_back({trial, static_cast<std::size_t>(found - speeds.begin()), heard});
  learn(answers_.back());
}

void Placement::take_back(std::uint32_t trial) {
  if (std::erase_if(answers_, [&](const Answer& one) { return one.trial == trial; }) == 0) return;
  beliefs_.assign(beliefs_.size(), ThresholdBelief(grid_));
  for (const Answer& answer : answers_) learn(answer);
}

void Placement::learn(const Answer& answer) {
  for (std::size_t device = 0; device < beliefs_.size(); ++device) {
    beliefs_[device].learn(answer.speed, answer.heard[device]);
  }
}

StrikeSpeed Placement::next() const {
  const bool bayesian = placing_.rule == Placing::Rule::bayesian;
  return grid_->speeds()[bayesian ? most_telling() : one_step_on()];
}

std::size_t Placement::most_telling() const {
  std::vector<double> entropy(grid_->speeds().size(), 0.0);
  for (const ThresholdBelief& belief : beliefs_) belief.add_expected_entropy(entropy);
  return static_cast<std::size_t>(std::min_element(entropy.begin(), entropy.end()) -
                                  entropy.begin());
}

/// The devices' series take turns: this one's last strike is as many trials ago as there are
/// devices.
std::size_t Placement::one_step_on() const {
  const std::size_t device = answers_.size() % beliefs_.size();
  if (answers_.size() < beliefs_.size()) return nearest(placing_.start);
  const Answer& last = answers_[answers_.size() - beliefs_.size()];
  const std::size_t hardest = grid_->speeds().size() - 1;
  if (last.heard[device]) return last.speed > 0 ? last.speed - 1 : 0;
  return std::min(last.speed + 1, hardest);
}

std::size_t Placement::nearest(StrikeSpeed speed) const {
  const auto& speeds = grid_->speeds();
  const auto above = std::lower_bound(speeds.begin(), speeds.end(), speed);
  if (above == speeds.end()) return speeds.size() - 1;
  if (above == speeds.begin()) return 0;
  const bool nearer_below = speed.um_s - (above - 1)->um_s < above->um_s - speed.um_s;
  return static_cast<std::size_t>(above - speeds.begin()) - (nearer_below ? 1 : 0);
}

StrikeSpeed Placement::threshold() const {
  std::vector<double> ln_speeds;
  ln_speeds.reserve(beliefs_.size());
  for (const ThresholdBelief& belief : beliefs_) {
    ln_speeds.push_back(belief.ln_speed_at(HeardShare::half));
  }
  std::sort(ln_speeds.begin(), ln_speeds.end());
  constexpr double um_s_per_m_s = 1e6;
  const double um_s = base::exponential_of(ln_speeds[ln_speeds.size() / 2]) * um_s_per_m_s;
  return grid_->speeds()[nearest({static_cast<std::int64_t>(um_s)})];
}

bool Placement::is_precise() const {
  if (placing_.precision_ppm == 0) return false;
  const double wanted = static_cast<double>(placing_.precision_ppm) / 1e6;
  return std::all_of(beliefs_.begin(), beliefs_.end(),
                     [&](const ThresholdBelief& belief) { return belief.uncertainty() <= wanted; });
}

}  // namespace plexor::scenario
