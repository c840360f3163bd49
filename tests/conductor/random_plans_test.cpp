#include "conductor/random_plans.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "conductor/bench_setup.hpp"
#include "conductor/pulse_oracle.hpp"
#include "run/rehearsal.hpp"
#include "run/schedule.hpp"
#include "scenario/planner.hpp"

// Ten thousand random plans: what the check lets pass breaks no limit in its run, what it
// refuses would have broken the limit that it names, and voids change nothing of that.

namespace plexor::run {
namespace {

using base::Pulse;
using base::Trial;
using journal::Ended;

#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
constexpr bool sanitized = true;
#elif defined(__has_feature)
constexpr bool sanitized = __has_feature(address_sanitizer) || __has_feature(thread_sanitizer);
#else
constexpr bool sanitized = false;
#endif
constexpr int plans = sanitized ? 500 : 10'000;

struct Plan {
  explicit Plan(int number)
      : texts(random_plan(number)),
        scenario(scenario::parse_scenario(texts.scenario, "random.toml")),
        rig(rig::parse_rig(texts.rig, "rig.toml")) {}

  PlanTexts texts;
  scenario::Scenario scenario;
  rig::RigFile rig;
};

/// Empty if the plan passes.
std::string refusal_of(const Plan& plan) {
  try {
    (void)rehearse(plan.scenario, "random.toml", plan.rig);
  } catch (const base::InputError& error) {
    return error.what();
  }
  return {};
}

using Counts = std::map<std::string, int>;

void print(const std::string& title, const Counts& counts) {
  std::printf("%s\n", title.c_str());
  for (const auto& [what, count] : counts) std::printf("  %6d  %s\n", count, what.c_str());
}

/// Every commanded pulse, whether or not the rig gave it: more than the coil ever had.
Judgement worst_of(const std::vector<Pulse>& pulses, const rig::RigFile& rig) {
  PulseOracle oracle(rig);
  Judgement worst;
  for (const Pulse& pulse : pulses) {
    const Judgement one = oracle.take(pulse);
    for (std::size_t i = 0; i < kinds; ++i) {
      const auto kind = static_cast<Kind>(i);
      worst[kind] = std::max(worst.of(kind), one.of(kind));
    }
  }
  return worst;
}

std::string broken_limits(const Judgement& judgement) {
  std::string names;
  for (std::size_t i = 0; i < kinds; ++i) {
    if (judgement.of(static_cast<Kind>(i)) != Verdict::broken) continue;
    names += std::string(names.empty() ? "" : ", ") + std::string(kind_names.at(i));
  }
  return names;
}

// What a refusal says.

struct NamedPulse {
  Kind kind = Kind::length;
  std::uint32_t block = base::reference_block;
  std::uint32_t trial = 0;  ///< meaningless for reference taps
  std::size_t pulse = 0;    ///< from 0
};

/// What follows the last place of these words in a text, if they are there.
std::optional<std::string> after(const std::string& text, const std::string& words) {
  const auto at = text.rfind(words);
  if (at == std::string::npos) return std::nullopt;
  return text.substr(at + words.size());
}

/// Refusals count from 1.
std::uint32_t index_in(const std::optional<std::string>& counted) {
  return static_cast<std::uint32_t>(std::stoul(counted.value()) - 1);
}

/// The first pulse that does not fit, if the refusal names one.
std::optional<NamedPulse> named_pulse(const std::string& refusal) {
  const auto limit = after(refusal, "expected a plan within the rig's limit of ");
  if (!limit) return std::nullopt;
  const auto kind = std::find_if(kind_names.begin(), kind_names.end(), [&](std::string_view name) {
    return limit->starts_with(std::string(name) + ";");
  });
  EXPECT_NE(kind, kind_names.end()) << refusal;
  NamedPulse named{.kind = static_cast<Kind>(kind - kind_names.begin())};
  named.pulse = index_in(after(refusal, "found pulse "));
  if (const auto trial = after(refusal, " in trial ")) {
    named.trial = index_in(trial);
    named.block = index_in(after(*trial, " of block "));
  } else {
    EXPECT_TRUE(after(refusal, " in the reference taps, ")) << refusal;
  }
  return named;
}

bool is_named(const Trial& trial, const NamedPulse& named) {
  return trial.id.block == named.block &&
         (named.block == base::reference_block || trial.id.number == named.trial);
}

/// These calibrations have one curve: the coil's temperature changes nothing.
constexpr double any_c = 25.0;

/// Gives `pulse(trial, index, pulse)` the pulses of a run without check and voids, until it
/// returns false.
template <typename Visit>
void walk_unchecked(const Plan& plan, Visit visit) {
  const Aim aim(plan.rig);
  scenario::History history(plan.scenario);
  base::Instant now = base::segment_start;
  base::Instant earliest = base::segment_start;
  while (const auto trial = next(plan.scenario, history)) {
    const base::Instant start = start_of(*trial, earliest, now, aim, any_c);
    const auto pulses =
        trial->taps.empty() ? std::vector<Pulse>{} : pulses_of(*trial, start, aim, any_c);
    for (std::size_t i = 0; i < pulses.size(); ++i) {
      if (!visit(*trial, i, pulses[i])) return;
    }
    history.took(trial->id);
    now = closing(*trial, start);
    earliest = earliest_next(*trial, start);
  }
}

/// The oracle's verdict on the named pulse; each pulse before it must be within all limits.
/// A reference group is named without its number: the first that doesn't fit is meant.
Verdict verdict_on(const Plan& plan, const NamedPulse& named) {
  PulseOracle oracle(plan.rig);
  Verdict verdict = Verdict::kept;
  walk_unchecked(plan, [&](const Trial& trial, std::size_t index, const Pulse& pulse) {
    const Judgement judgement = oracle.take(pulse);
    if (is_named(trial, named) && index == named.pulse) {
      verdict = judgement.of(named.kind);
      if (verdict != Verdict::kept || named.block != base::reference_block) return false;
    }
    EXPECT_EQ(broken_limits(judgement), "") << "let pass before the named pulse";
    return true;
  });
  return verdict;
}

// Refusals by the bounds of what a block can draw.

std::vector<scenario::Envelope> envelopes(const Plan& plan) {
  std::vector<scenario::Envelope> found;
  for (const scenario::Block& block : plan.scenario.blocks) {
    if (!block.quiet) found.push_back(envelope_of(plan.scenario, block));
  }
  if (const auto& taps = plan.scenario.reference) {
    found.push_back({taps->strike, taps->strike, taps->spacing, {}, taps->taps});
  }
  return found;
}

bool beyond_calibration(const Plan& plan, const scenario::Envelope& envelope) {
  return envelope.slowest < plan.rig.calibration->slowest() ||
         envelope.fastest > plan.rig.calibration->fastest();
}

bool too_hard(const Plan& plan, const scenario::Envelope& envelope) {
  const double m_s = base::to_m_s(envelope.fastest);
  return plan.rig.limits.moving_mass_kg * m_s * m_s / 2.0 > plan.rig.limits.max_energy_j;
}

/// A block's closest contacts with its worst pair of strikes: a hard one, then a soft one (or as
/// hard a one, where the soft one's transit is not the longer).
bool too_close(const Plan& plan, const scenario::Envelope& envelope) {
  if (envelope.taps < 2 || beyond_calibration(plan, envelope)) return false;
  const rig::CalibrationPoint hard = plan.rig.calibration->curves.front().at(envelope.fastest);
  const rig::CalibrationPoint soft = plan.rig.calibration->curves.front().at(envelope.slowest);
  const auto second = base::segment_start + std::chrono::seconds{2};
  const Pulse before{second - envelope.shortest_interval - hard.transit, hard.on_time};
  for (const rig::CalibrationPoint& after : {soft, hard}) {
    PulseOracle oracle(plan.rig);
    oracle.take(before);
    const Judgement judgement = oracle.take({second - after.transit, after.on_time});
    if (judgement.of(Kind::rest) == Verdict::broken) return true;
  }
  return false;
}

using Bound = bool (*)(const Plan&, const scenario::Envelope&);

bool any_block(const Plan& plan, Bound is_bad) {
  const std::vector<scenario::Envelope> bounds = envelopes(plan);
  return std::any_of(bounds.begin(), bounds.end(),
                     [&](const scenario::Envelope& one) { return is_bad(plan, one); });
}

/// Why the bounds refuse, if this is such a refusal and they are right.
std::string reason_by_bounds(const Plan& plan, const std::string& refusal) {
  const auto says = [&](const char* words) { return refusal.find(words) != std::string::npos; };
  if (says("strikes that the calibration covers") && any_block(plan, beyond_calibration)) {
    return "strikes beyond the calibration";
  }
  if (says("within the rig's energy limit") && any_block(plan, too_hard)) return "impact energy";
  if (says("contacts that may come") && any_block(plan, too_close)) {
    return "rest (bounds of the draws)";
  }
  if (says("a rig that senses no contact") && !plan.rig.contact.is_sensed()) {
    return "no contact sensor";
  }
  return "";
}

// Runs.

struct Run {
  Ended ended;
  std::vector<Pulse> fired;
  std::vector<journal::TrialPlanned> planned;
  std::vector<journal::TrialDone> done;
  std::vector<journal::ListenerState> listeners;

  /// It waited for a device, not for the coil.
  [[nodiscard]] bool heard_again_between(base::Instant from, base::Instant to) const {
    return std::any_of(listeners.begin(), listeners.end(), [&](const auto& state) {
      return state.up && state.at >= from && state.at <= to;
    });
  }
};

Run run_plan(const Plan& plan, Script script) {
  Bench bench(plan.texts.scenario, std::move(script), false, plan.texts.rig);
  Run run;
  run.ended = bench.run();
  run.fired = bench.tapper.fired;
  run.planned = bench.records<journal::TrialPlanned>();
  run.done = bench.records<journal::TrialDone>();
  run.listeners = bench.records<journal::ListenerState>();
  return run;
}

/// The model errs to the hot side, and a coil at its limit cools slowly: so long may it wait for
/// that.
constexpr base::Duration longest_idle_wait = std::chrono::milliseconds{50};

/// Whether a trial began later than the one before it asked for, because the coil had to rest; then
/// it would have come close to a limit, or over it, at the earlier time.
bool has_waited(const Plan& plan, const Run& run) {
  const Aim aim(plan.rig);
  PulseOracle oracle(plan.rig);
  bool waited = false;
  for (std::size_t i = 0; i < run.planned.size(); ++i) {
    const journal::TrialPlanned& planned = run.planned[i];
    if (i > 0 && !planned.pulses.empty()) {
      const journal::TrialPlanned& last = run.planned[i - 1];
      const auto asked = start_of(planned.trial, earliest_next(last.trial, last.start),
                                  run.done[i - 1].end, aim, any_c);
      const bool for_a_device = run.heard_again_between(run.done[i - 1].end, planned.start);
      if (planned.start > asked && !for_a_device) {
        waited = true;
        PulseOracle ahead = oracle;
        bool over = false;
        for (const Pulse& pulse : pulses_of(planned.trial, asked, aim, any_c)) {
          const Judgement judgement = ahead.take(pulse);
          over |= judgement.any(Verdict::broken) || judgement.any(Verdict::doubtful);
        }
        EXPECT_TRUE(over || planned.start - asked <= longest_idle_wait) << "waited for nothing";
      }
    }
    for (const Pulse& pulse : planned.pulses) oracle.take(pulse);
  }
  return waited;
}

class Campaign {
 public:
  void rehearse_and_run(int number) {
    const Plan plan(number);
    const std::string refusal = refusal_of(plan);
    if (refusal.empty()) {
      ++passed_;
      run_to_its_end(plan);
    } else {
      ++refused_;
      justify(plan, refusal);
    }
  }

  void run_with_mishaps(int number) {
    const Plan plan(number);
    if (!refusal_of(plan).empty()) return;
    ++passed_;
    const Run run = run_plan(plan, random_mishaps(number));
    keep_limits(plan, run);
    const std::string& detail = run.ended.detail;
    const auto says = [&](const char* words) { return detail.find(words) != std::string::npos; };
    if (run.ended.reason != Ended::Reason::fault) {
      ++ends_[run.ended.reason == Ended::Reason::complete ? "complete" : "too many voids"];
    } else if (says("without contact")) {
      ++ends_["misfires in a row"];
    } else {
      ++ends_["stopped by the conductor's check"];
    }
    if (has_waited(plan, run)) ++waited_;
  }

  int passed_ = 0;
  int refused_ = 0;
  int waited_ = 0;
  std::uint64_t pulses_ = 0;
  Counts reasons_;
  Counts ends_;
  Counts doubtful_;

 private:
  void run_to_its_end(const Plan& plan) {
    for (const Bound bound : {beyond_calibration, too_hard, too_close}) {
      EXPECT_FALSE(any_block(plan, bound)) << "let pass what the draws could break";
    }
    const Run run = run_plan(plan, {});
    EXPECT_EQ(run.ended.reason, Ended::Reason::complete) << run.ended.detail;
    keep_limits(plan, run);
  }

  void keep_limits(const Plan& plan, const Run& run) {
    const Judgement worst = worst_of(run.fired, plan.rig);
    EXPECT_EQ(broken_limits(worst), "") << "broken by what was tapped";
    if (worst.any(Verdict::doubtful)) ++doubtful_["let pass"];
    pulses_ += run.fired.size();
  }

  void justify(const Plan& plan, const std::string& refusal) {
    const auto named = named_pulse(refusal);
    if (!named) {
      const std::string reason = reason_by_bounds(plan, refusal);
      EXPECT_NE(reason, "") << "refused for nothing: " << refusal;
      ++reasons_[reason];
      return;
    }
    ++reasons_[std::string(kind_names.at(static_cast<std::size_t>(named->kind)))];
    const Verdict verdict = verdict_on(plan, *named);
    EXPECT_NE(verdict, Verdict::kept) << "refused for nothing: " << refusal;
    if (verdict == Verdict::doubtful) ++doubtful_["refused"];
  }
};

std::string trace_of(int number) { return "plan " + std::to_string(number); }

TEST(RandomPlans, WhatPassesBreaksNoLimitAndWhatIsRefusedWouldHave) {  // [S40]
  Campaign campaign;
  for (int number = 0; number < plans; ++number) {
    SCOPED_TRACE(trace_of(number));
    campaign.rehearse_and_run(number);
    if (HasFailure()) break;
  }
  std::printf("%d plans: %d passed (%llu pulses tapped), %d refused\n", plans, campaign.passed_,
              static_cast<unsigned long long>(campaign.pulses_), campaign.refused_);
  print("refused for", campaign.reasons_);
  print("too close to call", campaign.doubtful_);
  // Draws that seldom meet a limit, or seldom keep one, would prove nothing.
  EXPECT_GE(campaign.passed_, plans * 3 / 10);
  EXPECT_GE(campaign.refused_, plans * 3 / 10);
  for (const char* reason : {"pulse length", "rest", "duty", "coil temperature", "impact energy"}) {
    EXPECT_GE(campaign.reasons_[reason], plans / 100) << reason;
  }
  EXPECT_LE(campaign.doubtful_["let pass"] + campaign.doubtful_["refused"], plans / 50);
}

TEST(RandomPlans, RepeatsAfterVoidsBreakNoLimitEither) {  // [S41]
  Campaign campaign;
  for (int number = 0; number < plans; ++number) {
    SCOPED_TRACE(trace_of(number));
    campaign.run_with_mishaps(number);
    if (HasFailure()) break;
  }
  std::printf("%d plans that pass, with mishaps (%llu pulses tapped)\n", campaign.passed_,
              static_cast<unsigned long long>(campaign.pulses_));
  print("ended", campaign.ends_);
  EXPECT_GE(campaign.ends_["complete"], campaign.passed_ / 10);
  std::printf("%d runs let the coil rest before a trial\n", campaign.waited_);
  EXPECT_GE(campaign.waited_, campaign.passed_ / 50);
}

}  // namespace
}  // namespace plexor::run
