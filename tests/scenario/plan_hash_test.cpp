#include <gtest/gtest.h>

#include "plans.hpp"
#include "scenario_texts.hpp"

namespace plexor::scenario {
namespace {

/// FNV-1a over whole numbers, byte by byte, least significant first.
class Fnv {
 public:
  void add(std::int64_t value) {
    auto bits = static_cast<std::uint64_t>(value);
    for (int byte = 0; byte < 8; ++byte, bits >>= 8) {
      hash_ = (hash_ ^ (bits & 0xffU)) * 1099511628211U;
    }
  }
  [[nodiscard]] std::uint64_t value() const { return hash_; }

 private:
  std::uint64_t hash_ = 14695981039346656037U;
};

std::uint64_t hash_of(const std::vector<base::Trial>& plan) {
  Fnv fnv;
  for (const base::Trial& trial : plan) {
    fnv.add(trial.id.block);
    fnv.add(trial.id.number);
    fnv.add(trial.id.attempt);
    fnv.add(static_cast<std::int64_t>(trial.kind));
    fnv.add(trial.rhythm);
    for (const base::Tap& tap : trial.taps) {
      fnv.add(tap.contact.count());
      fnv.add(tap.strike.um_s);
    }
    fnv.add(trial.window.count());
    fnv.add(trial.gap.count());
  }
  return fnv.value();
}

std::string text_with(const std::string& jitter) {
  return "[scenario]\nname = \"golden\"\npurpose = \"regression\"\nseed = 9007199254740993\n" +
         rhythms +
         "[rhythm.mug-down]\ncontacts_ms = [0, 121.7]\nexpects = \"nothing\"\n[jitter]\n" + jitter +
         block_of("call", 400, "{ mean = 0.9, cv = 0.10 }") + block_of("help", 250, "0.8") +
         block_of("mug-down", 150, "[0.3, 0.45, 0.6]") +
         block_of("call", 150, "{ from = 0.3, to = 1.2 }") +
         "[[block]]\nquiet_s = 1000\nstretch_s = 30\ngap_ms = [1500, 2500]\n"
         "[reference]\nevery_trials = 40\nstrike_m_s = 0.8\ntransit_tolerance_ms = 0.5\n";
}

/// All trials, each seventh of them void once.
std::vector<base::Trial> eventful_plan(const Scenario& scenario) {
  History history(scenario);
  std::vector<base::Trial> plan;
  while (auto trial = take(scenario, history)) {
    if (plan.size() % 7 == 0 && trial->id.attempt == 0) history.voided(trial->id);
    plan.push_back(*trial);
  }
  return plan;
}

// Golden: these values hold for every compiler, optimisation and machine. A change here
// breaks every recorded plan: runs of one seed would no longer pair.
TEST(PlanHash, IsTheSameOnEveryMachine) {
  const auto hash = [](const std::string& jitter) {
    return hash_of(eventful_plan(parsed(text_with(jitter))));
  };
  EXPECT_EQ(hash("model = \"human\"\ntempo_cv = 0.06\nmotor_sd_ms = 8\n"), 14875784600770635657U);
  EXPECT_EQ(hash("model = \"normal\"\nsd_ms = 7.3\n"), 13531935564705208139U);
  EXPECT_EQ(hash("model = \"uniform\"\nspread_ms = 20\n"), 6846093990822535977U);
  EXPECT_EQ(hash("model = \"none\"\n"), 14197053453847397866U);
}

TEST(PlanHash, SeesEveryPartOfAPlan) {
  const Scenario scenario = parsed(text_with("model = \"none\"\n"));
  const auto plan = eventful_plan(scenario);
  auto other = plan;
  other.back().gap += base::Duration{1};
  EXPECT_NE(hash_of(plan), hash_of(other));
  EXPECT_GT(plan.size(), 1000U);
}

}  // namespace
}  // namespace plexor::scenario
