#include <fmt/format.h>

#include <chrono>
#include <cmath>
#include <vector>

#include "analysis/response/binary_response.hpp"
#include "analysis/response/rated_response.hpp"
#include "base/random.hpp"
#include "scenario/placement.hpp"

// Knocks until the strike speed of which half is heard is known to 5 % (two-sided 95 % interval):
// placed by what tells most, up and down, a fixed list in turn, and the bound that Fisher's
// information sets to any placement. And what one placement costs against the shortest gap.

namespace {

using namespace plexor;
using analysis::Dose;
using base::StrikeSpeed;

constexpr double spread = 0.15;
constexpr double wanted = 0.05;
constexpr int runs = 200;
constexpr int most_knocks = 1000;
constexpr double softest_m_s = 0.2;
constexpr double hardest_m_s = 1.4;

/// Thresholds all over the range, so that a search is needed first.
double middle_of(int run) { return 0.35 + 0.7 * run / runs; }

bool hears(double m_s, int run, int knock) {
  const base::DrawKey key{.seed = 1,
                          .block = static_cast<std::uint32_t>(run),
                          .trial = static_cast<std::uint32_t>(knock),
                          .purpose = base::Purpose::dice};
  const double share = std::ldexp(static_cast<double>(base::uniform_bits(key) >> 11), -53);
  return share <
         analysis::share_at(analysis::Link::probit, std::log(m_s / middle_of(run)) / spread);
}

/// The interval of the report, by profile likelihood, is no wider than wanted.
bool is_known(const std::vector<Dose>& doses) {
  const auto fit = analysis::fit_response(doses, analysis::Link::probit);
  if (!fit || fit->slope <= 0.0) return false;
  const auto at = analysis::threshold_of(*fit, 0.5, 0.95);
  return at && at->fieller && (at->fieller->upper - at->fieller->lower) / 2.0 <= wanted;
}

scenario::Strength adaptive(scenario::Placing::Rule rule) {
  scenario::Strength strength{.kind = scenario::Strength::Kind::adaptive,
                              .values = {{200'000}, {1'400'000}}};
  strength.placing = {.rule = rule, .start = {700'000}, .step_ppm = 150'000};
  strength.placing->precision_ppm = std::llround(wanted * 1e6);
  return strength;
}

struct Cost {
  double knocks = 0.0;   ///< mean over the runs
  int endless = 0;       ///< runs that needed more than most_knocks
  double mean_ms = 0.0;  ///< for one placement
};

Cost placed(scenario::Placing::Rule rule) {
  const scenario::Placement fresh(adaptive(rule), 1);
  Cost cost;
  double seconds = 0.0;
  for (int run = 0; run < runs; ++run) {
    scenario::Placement placement = fresh;
    int knock = 0;
    while (!placement.is_precise() && knock < most_knocks) {
      const auto begin = std::chrono::steady_clock::now();
      const StrikeSpeed speed = placement.next();
      placement.answered(static_cast<std::uint32_t>(knock), speed,
                         {hears(base::to_m_s(speed), run, knock)});
      seconds += std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
      ++knock;
    }
    cost.knocks += static_cast<double>(knock) / runs;
    if (knock == most_knocks) ++cost.endless;
  }
  cost.mean_ms = 1e3 * seconds / (cost.knocks * runs);
  return cost;
}

Cost listed() {
  constexpr int steps = 12;
  Cost cost;
  for (int run = 0; run < runs; ++run) {
    std::vector<Dose> doses;
    int knock = 0;
    do {
      const double along = static_cast<double>(knock % steps) / (steps - 1);
      const double m_s = softest_m_s * std::pow(hardest_m_s / softest_m_s, along);
      doses.push_back({std::log(m_s), hears(m_s, run, knock) ? 1U : 0U, 1});
      ++knock;
    } while (knock < most_knocks && !is_known(doses));
    cost.knocks += static_cast<double>(knock) / runs;
    if (knock == most_knocks) ++cost.endless;
  }
  return cost;
}

/// All knocks at the very middle: information phi(0)^2 / (1/4) / spread^2 each.
double information_bound() {
  constexpr double density = 0.3989422804014327;
  constexpr double z = 1.959964;
  return std::pow(z / wanted * spread, 2) / (4.0 * density * density);
}

void print(const char* what, const Cost& cost, double bound) {
  fmt::print("{:<22} {:6.1f} knocks  {:5.2f} x the bound", what, cost.knocks, cost.knocks / bound);
  if (cost.endless > 0)
    fmt::print("  ({} of {} runs not within {})", cost.endless, runs, most_knocks);
  if (cost.mean_ms > 0.0) {
    constexpr double shortest_gap_ms = 1500.0;  // of the scenarios that are shipped
    fmt::print("  {:.2f} ms each, {:.4f} x the shortest gap (goal 0.1)", cost.mean_ms,
               cost.mean_ms / shortest_gap_ms);
  }
  fmt::print("\n");
}

}  // namespace

int main() {
  const double bound = information_bound();
  fmt::print("knocks until S50 is known to 5 % at a spread of 15 %, mean of {} thresholds\n", runs);
  fmt::print("{:<22} {:6.1f} knocks\n", "information bound", bound);
  print("Bayesian (goal 80)", placed(scenario::Placing::Rule::bayesian), bound);
  print("up and down", placed(scenario::Placing::Rule::up_and_down), bound);
  print("fixed list of 12", listed(), bound);
  return 0;
}
