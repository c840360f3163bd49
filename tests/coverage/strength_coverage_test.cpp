#include <gtest/gtest.h>

#include <array>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <vector>

#include "analysis/response/strength_response.hpp"
#include "base/random.hpp"

// The intervals of the strengths at 50 and 95 % detection against known truth: many data sets of
// each way to place the strengths, through the whole of strength_response.

namespace plexor {
namespace {

using analysis::Dose;
using Doses = std::vector<Dose>;

constexpr int data_sets = 1000;
constexpr double middle = -0.9;  // ln m/s of half detection without lapses
constexpr double spread = 0.15;  // of the threshold, in ln units

/// A device whose threshold scatters normally over ln speed.
struct Truth {
  double lapse = 0.0;

  [[nodiscard]] double share_at(double strength) const {
    return (1.0 - lapse) * analysis::share_at(analysis::Link::probit, (strength - middle) / spread);
  }
  [[nodiscard]] double strength_of(double share) const {
    return middle + spread * analysis::eta_of(analysis::Link::probit, share / (1.0 - lapse));
  }
};

/// One data set: a device asked again and again.
class Asked {
 public:
  Asked(const Truth& truth, int seed) : truth_(truth), seed_(static_cast<std::uint64_t>(seed)) {}

  bool detects(double strength) {
    const base::DrawKey key{.seed = seed_, .trial = trial_++, .purpose = base::Purpose::dice};
    const bool is_detected =
        std::ldexp(static_cast<double>(base::uniform_bits(key) >> 11), -53) <
        truth_.share_at(strength);
    doses_.push_back({strength, is_detected ? 1U : 0U, 1});
    return is_detected;
  }
  [[nodiscard]] Doses doses() const { return doses_; }

 private:
  Truth truth_;
  std::uint64_t seed_;
  std::uint32_t trial_ = 0;
  Doses doses_;
};

/// A way to place the strengths of one data set.
struct Design {
  const char* name;
  Doses (*run)(const Truth& truth, int seed);
};

/// Eight strengths in turn, 30 trials each.
Doses list_in_turn(const Truth& truth, int seed) {
  Asked device(truth, seed);
  for (int trial = 0; trial < 240; ++trial) {
    device.detects(middle + spread * (-1.75 + 0.75 * (trial % 8)));
  }
  return device.doses();
}

/// From soft to hard in sixty steps, four times.
Doses ramp(const Truth& truth, int seed) {
  Asked device(truth, seed);
  for (int trial = 0; trial < 240; ++trial) {
    device.detects(middle + spread * (-2.0 + 6.0 * (trial % 60) / 59.0));
  }
  return device.doses();
}

/// A step of one spread down after a detection, up after a miss.
Doses up_and_down(const Truth& truth, int seed) {
  Asked device(truth, seed);
  double strength = middle + 2.0 * spread;
  for (int trial = 0; trial < 240; ++trial) {
    strength += device.detects(strength) ? -spread : spread;
  }
  return device.doses();
}

constexpr std::array<Design, 3> designs{
    {{"list", list_in_turn}, {"ramp", ramp}, {"up-and-down", up_and_down}}};

struct Counts {
  int answers = 0;
  int s50 = 0;
  int s95 = 0;
  int s50_curve=0; int s95_curve=0;
  int s95_extrapolated = 0;
  int s95_endless = 0;
  int lapses_found = 0;
  int guesses_found = 0;
  int poor_fits = 0;
  int penalised = 0;
};

bool covers(const analysis::Interval& interval, double truth) {
  return interval.lower <= truth && truth <= interval.upper;
}

Counts counts_of(const Design& design, const Truth& truth) {
  Counts counts;
  for (int seed = 1; seed <= data_sets; ++seed) {
    const auto response = analysis::strength_response(design.run(truth, seed), 0.95);
    if (response.basis == analysis::ResponseBasis::nothing) continue;
    ++counts.answers;
    counts.s50 += covers(response.s50->profile, truth.strength_of(0.5)) ? 1 : 0;
    counts.s95 += covers(response.s95->profile, truth.strength_of(0.95)) ? 1 : 0;
    counts.s50_curve += covers(response.s50->of_this_curve, truth.strength_of(0.5)) ? 1 : 0;
    counts.s95_curve += covers(response.s95->of_this_curve, truth.strength_of(0.95)) ? 1 : 0;
    counts.s95_extrapolated += response.s95->is_extrapolated ? 1 : 0;
    counts.s95_endless += std::isinf(response.s95->profile.upper) ? 1 : 0;
    counts.lapses_found += response.lapse.is_in_curve ? 1 : 0;
    counts.guesses_found += response.guess.is_in_curve ? 1 : 0;
    counts.poor_fits += response.heterogeneity > 1.0 ? 1 : 0;
    counts.penalised += response.basis == analysis::ResponseBasis::penalised ? 1 : 0;
  }
  return counts;
}

void print(const Design& design, const Truth& truth, const Counts& counts) {
  std::printf(
      "[of curve %d %d] %s, %.0f %% lapses: %d answers of %d; covered: S50 %d, S95 %d (extrapolated %d, without upper "
      "end %d); lapse rate in the curve %d, guess rate %d; poor fit %d; penalised %d\n",
      counts.s50_curve, counts.s95_curve, design.name, 100.0 * truth.lapse, counts.answers, data_sets, counts.s50, counts.s95,
      counts.s95_extrapolated, counts.s95_endless, counts.lapses_found, counts.guesses_found,
      counts.poor_fits, counts.penalised);
}

TEST(StrengthCoverage, X) {
  for (const Design& design : designs) {
    for (const double lapse : {0.0, 0.03}) {
      const auto t = std::chrono::steady_clock::now();
      const Truth truth{lapse};
      print(design, truth, counts_of(design, truth));
      std::printf("%f ms each\n", std::chrono::duration<double, std::milli>(std::chrono::steady_clock::now() - t).count()/data_sets);
    }
  }
}

}  // namespace
}  // namespace plexor
