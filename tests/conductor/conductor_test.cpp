#include "run/conductor.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <set>

#include "base/random.hpp"
#include "conductor/bench_setup.hpp"

namespace plexor::run {
namespace {

using namespace std::chrono_literals;
using base::VoidReason;
using journal::Ended;
using ::testing::Each;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::SizeIs;

const std::string with_reference =
    "[reference]\nevery_trials = 5\ntaps = 2\nstrike_m_s = 0.9\ntransit_tolerance_ms = 1\n";

TEST(Conductor, PresentsEveryTrialOnceAndEndsComplete) {
  Bench bench(scenario_text(40));
  EXPECT_EQ(bench.run().reason, Ended::Reason::complete);
  std::set<std::uint32_t> numbers;
  for (const auto& planned : bench.records<journal::TrialPlanned>()) {
    numbers.insert(planned.trial.id.number);
  }
  EXPECT_THAT(numbers, SizeIs(40));
  EXPECT_THAT(bench.voids(), IsEmpty());
  EXPECT_EQ(bench.progress().hits, 40U);
  EXPECT_EQ(bench.tapper.fired.size(), 80U);
}

TEST(Conductor, GivesTheSameJournalForTheSameSeed) {
  Bench first(scenario_text(20, "[jitter]\nmodel = \"human\"\ntempo_cv = 0.05\nmotor_sd_ms = 5\n"));
  Bench second(
      scenario_text(20, "[jitter]\nmodel = \"human\"\ntempo_cv = 0.05\nmotor_sd_ms = 5\n"));
  first.run();
  second.run();
  EXPECT_EQ(first.bytes, second.bytes);
}

TEST(Conductor, RepeatsATrialWithoutContact) {
  Bench bench(scenario_text(10), {.no_contact = {4}});
  EXPECT_EQ(bench.run().reason, Ended::Reason::complete);
  EXPECT_THAT(bench.voids(), ElementsAre(VoidReason::no_contact));
  EXPECT_THAT(bench.records<journal::TrialPlanned>(), SizeIs(11));
  EXPECT_EQ(bench.progress().done, 10U);
}

TEST(Conductor, VoidsARestrikeAndALatePulse) {
  Bench bench(scenario_text(10), {.second_contact = {3}, .late = {8}});
  EXPECT_EQ(bench.run().reason, Ended::Reason::complete);
  EXPECT_THAT(bench.voids(), ElementsAre(VoidReason::re_strike, VoidReason::late_pulse));
}

std::string with_contact(const std::string& kind) {
  std::string rig = rig_text;
  const std::string tip_switch = "tip-switch";
  return rig.replace(rig.find(tip_switch), tip_switch.size(), kind);
}

TEST(Conductor, BelievesAPickupThatATapLandedAndNothingElse) {
  // It hears mugs and ring-down too: no re-strikes, no strays; but silence is silence.
  Bench bench(scenario_text(10), {.no_contact = {4}, .second_contact = {7, 8, 11}}, false,
              with_contact("pickup"));
  EXPECT_EQ(bench.run().reason, Ended::Reason::complete);
  EXPECT_THAT(bench.voids(), ElementsAre(VoidReason::no_contact));
  for (const auto& done : bench.records<journal::TrialDone>()) {
    if (done.void_reason) continue;
    EXPECT_THAT(done.contacts, SizeIs(2)) << "the first after each pulse";
  }
}

TEST(Conductor, DoesNotBelieveAPickupInALiftedRun) {
  Bench bench(scenario_text(4), {}, true, with_contact("pickup"));
  EXPECT_EQ(bench.run().reason, Ended::Reason::complete);
  EXPECT_THAT(bench.voids(), IsEmpty());
}

TEST(Conductor, JudgesTheCoilsCurrentAsATipSwitch) {
  Bench bench(scenario_text(10), {.second_contact = {3}}, false, with_contact("coil-current"));
  EXPECT_EQ(bench.run().reason, Ended::Reason::complete);
  EXPECT_THAT(bench.voids(), ElementsAre(VoidReason::re_strike));
}

/// From the planned pulse to the planned contact, for the first tap of each trial.
std::vector<base::Duration> aims(const Bench& bench) {
  std::vector<base::Duration> found;
  for (const auto& planned : bench.records<journal::TrialPlanned>()) {
    if (!planned.pulses.empty()) found.push_back(planned.start - planned.pulses.front().on);
  }
  return found;
}

TEST(Conductor, AimsByTheContactsItHasSeenWithinBounds) {
  // This rig's contacts come 4 ms sooner than its calibration says.
  Bench bench(scenario_text(30));
  bench.run();
  const auto found = aims(bench);
  ASSERT_THAT(found, SizeIs(30));
  EXPECT_EQ(found.front() - found.back(), Aim::most_correction);
  for (std::size_t i = 1; i < found.size(); ++i) EXPECT_LE(found[i], found[i - 1]) << i;
  EXPECT_LT(found[0] - found[1], Aim::most_correction) << "slowly";
}

TEST(Conductor, LearnsNothingFromVoidTrials) {
  Script script;
  for (int pulse = 1; pulse <= 10; ++pulse) script.second_contact.insert(pulse);
  Bench bench(scenario_text(3), script);
  bench.run();
  const auto found = aims(bench);
  ASSERT_GT(found.size(), 5U);
  for (std::size_t i = 1; i <= 5; ++i) EXPECT_EQ(found[i], found[0]) << "after a void trial";
}

TEST(Conductor, TreatsMisfiresInARowAsAFaultAndMakesTheTapperSafe) {
  Bench bench(scenario_text(10), {.no_contact = {1, 2, 3, 4, 5, 6}});
  const Ended ended = bench.run();
  EXPECT_EQ(ended.reason, Ended::Reason::fault);
  EXPECT_THAT(ended.detail, HasSubstr("without contact"));
  EXPECT_GE(bench.tapper.made_safe, 1);
  EXPECT_EQ(bench.tapper.fired.size(), 6U);
}

TEST(Conductor, VoidsATrialWhosePulsesWereNotAsPlanned) {
  Bench bench(scenario_text(10), {.not_given = {3}, .stretched = {9}});
  EXPECT_EQ(bench.run().reason, Ended::Reason::complete);
  EXPECT_THAT(bench.voids(), ElementsAre(VoidReason::wrong_pulse, VoidReason::wrong_pulse));
}

TEST(Conductor, TreatsAPulseBeyondTheLimitAsAFault) {
  Bench bench(scenario_text(10), {.endless = {3}});
  const Ended ended = bench.run();
  EXPECT_EQ(ended.reason, Ended::Reason::fault);
  EXPECT_THAT(ended.detail, HasSubstr("200.0 ms"));
  EXPECT_EQ(bench.tapper.fired.size(), 4U);
}

TEST(Conductor, CountsMisfiresInARowAcrossQuiet) {
  // Stretches of quiet between the taps prove nothing about the tapper.
  Bench bench(scenario_text(12, "[[block]]\nquiet_s = 60\nstretch_s = 5\n"),
              {.no_contact = {1, 2, 3, 4, 5, 6}});
  EXPECT_EQ(bench.run().reason, Ended::Reason::fault);
  EXPECT_EQ(bench.tapper.fired.size(), 6U);
}

TEST(Conductor, DoesNotCountQuietOrTapWhileADeviceCannotBeHeard) {
  Bench bench(scenario_text(4, "[[block]]\nquiet_s = 20\nstretch_s = 5\n"),
              {.listener_down_at = base::segment_start + 2ms});
  const Ended ended = bench.run();
  EXPECT_EQ(ended.reason, Ended::Reason::fault);
  EXPECT_THAT(ended.detail, AllOf(HasSubstr("panel"), HasSubstr("30 minutes")));
  EXPECT_THAT(bench.voids(), ElementsAre(VoidReason::listener_down))
      << "it waits, and voids no row";
  EXPECT_EQ(bench.voids().size(), bench.records<journal::TrialDone>().size());
  EXPECT_LE(bench.tapper.fired.size(), 2U);  // what was queued before it was lost
}

TEST(Conductor, GoesOnWithTheVoidedTrialAsSoonAsTheDeviceIsBack) {
  const base::Instant back = base::segment_start + 10min;
  Bench bench(scenario_text(10),
              {.listener_down_at = base::segment_start + 3s, .listener_up_at = back});
  EXPECT_EQ(bench.run().reason, Ended::Reason::complete);
  EXPECT_THAT(bench.voids(), SizeIs(1));
  EXPECT_EQ(bench.progress().done, 10U);
  EXPECT_THAT(bench.progress().unheard, IsEmpty());
  const auto trials = bench.records<journal::TrialPlanned>();
  const auto after = std::find_if(trials.begin(), trials.end(),
                                  [&](const auto& trial) { return trial.start > back; });
  ASSERT_NE(after, trials.end());
  EXPECT_LE(after->start - back, 1s) << "it does not dawdle";
}

TEST(Conductor, BearsAPulseThatIsToldInQuiet) {
  const auto scenario = scenario::parse_scenario(
      "[scenario]\nname = \"quiet\"\npurpose = \"soak\"\nseed = 7\n[[block]]\nquiet_s = 20\n",
      "quiet.toml");
  const rig::RigFile rig = rig::parse_rig(rig_text, "rig.toml");
  Conductor conductor(scenario, rig, false, 1);
  conductor.begin(base::segment_start);
  while (conductor.take_action()) {
  }
  conductor.observe(rig::PulseFired{1, {base::segment_start + 1s, 11ms}});
  conductor.wake(conductor.wake_at());
  std::optional<VoidReason> reason;
  while (const auto action = conductor.take_action()) {
    const auto* append = std::get_if<Append>(&*action);
    if (append == nullptr) continue;
    const auto* done = std::get_if<journal::TrialDone>(&append->record);
    if (done != nullptr) reason = done->void_reason;
  }
  EXPECT_EQ(reason, VoidReason::wrong_pulse) << "somebody tapped in what should be quiet";
}

TEST(Conductor, NeverCountsTrialsWhileADeviceCannotBeHeard) {
  Bench bench(scenario_text(10), {.listener_down_at = base::segment_start + 3s,
                                  .listener_up_at = base::segment_start + 5s});
  EXPECT_EQ(bench.run().reason, Ended::Reason::complete);
  EXPECT_THAT(bench.voids(), Each(VoidReason::listener_down));
  EXPECT_FALSE(bench.voids().empty());
  EXPECT_EQ(bench.progress().done, 10U);
}

/// Trials that count, by the journal's rule: valid when done, and not taken back by a later record.
std::vector<base::TrialId> counting(const Bench& bench, base::Instant down_at) {
  std::vector<base::TrialId> ids;
  bool was_down = false;
  for (const journal::Record& record : bench.all_records()) {
    if (const auto* state = std::get_if<journal::ListenerState>(&record)) {
      was_down |= !state->up;
    } else if (const auto* done = std::get_if<journal::TrialDone>(&record)) {
      const bool is_taken_back = !was_down && done->end > down_at;
      if (!done->void_reason && !is_taken_back) ids.push_back(done->id);
    }
  }
  for (base::TrialId& id : ids) id.attempt = 0;
  return ids;
}

TEST(Conductor, GivesOnceMoreWhatWasDoneSinceADeviceWasHeardForSure) {
  const base::Instant down = base::segment_start + 5s;
  const auto done_with = [&](base::Duration noticed_after) {
    Bench bench(scenario_text(12), {.listener_down_at = down,
                                    .noticed_after = noticed_after,
                                    .listener_up_at = down + noticed_after + 1s});
    EXPECT_EQ(bench.run().reason, Ended::Reason::complete);
    EXPECT_EQ(bench.progress().done, 12U);
    auto ids = counting(bench, down);
    std::ranges::sort(ids);
    EXPECT_EQ(std::ranges::adjacent_find(ids), ids.end()) << "no trial counts twice";
    EXPECT_THAT(ids, SizeIs(12));
    return bench.progress().voids;
  };
  const auto at_once = done_with(0s);
  EXPECT_LE(at_once, 1U);
  EXPECT_GE(done_with(6s), at_once + 2);
}

TEST(Conductor, GivesUpOnATrialThatIsAlwaysVoid) {
  Script script;
  for (int pulse = 1; pulse <= 60; ++pulse) script.late.insert(pulse);
  Bench bench(scenario_text(3), script);
  EXPECT_EQ(bench.run().reason, Ended::Reason::too_many_voids);
}

TEST(Conductor, TakesBackWhatLiesBeforeAShiftOfTheReferenceTaps) {
  // 2 reference taps, 5 trials of 2 taps, then the transit moves: pulse 13 is a reference tap.
  Bench bench(scenario_text(15, with_reference), {.transit_moves_at = 13});
  const Ended ended = bench.run();
  const auto shifts = bench.records<journal::ReferenceShift>();
  ASSERT_THAT(shifts, SizeIs(2));
  EXPECT_EQ(shifts[0].voided, 5U);
  EXPECT_EQ(shifts[0].shift, 5ms);
  EXPECT_EQ(ended.reason, Ended::Reason::fault);
  EXPECT_THAT(ended.detail, HasSubstr("calibrate"));
}

TEST(Conductor, StopsSafelyInTheMiddleOfATrial) {
  Bench bench(scenario_text(10));
  EXPECT_EQ(bench.run(7).reason, Ended::Reason::interrupted);
  EXPECT_GE(bench.tapper.made_safe, 1);
  EXPECT_THAT(bench.records<Ended>(), SizeIs(1));
  EXPECT_THAT(bench.voids(), ElementsAre(VoidReason::interrupted));
}

TEST(Conductor, StopsTappingWhenTheJournalFails) {
  Bench bench(scenario_text(10));
  EXPECT_THROW(bench.run(-1, 5), base::RigFault);
  EXPECT_GE(bench.tapper.made_safe, 1);
  const std::size_t fired = bench.tapper.fired.size();
  EXPECT_LT(fired, 20U);
  // Nothing was tapped that the journal does not hold.
  EXPECT_LE(fired, 2 * bench.records<journal::TrialPlanned>().size());
}

TEST(Conductor, VoidsAnyContactInALiftedRun) {
  Bench bench(scenario_text(3), {.no_contact = {1, 2, 3, 4, 6}}, true);
  bench.run();
  EXPECT_THAT(bench.voids(), Each(VoidReason::stray_contact));
}

TEST(Conductor, FiresOnlyWhenThePlanIsDurable) {
  Bench setup(scenario_text(1));
  const auto scenario = scenario::parse_scenario(scenario_text(1), "test.toml");
  Conductor conductor(scenario, setup.rig(), false, 1);
  conductor.begin(base::segment_start);
  while (const auto action = conductor.take_action()) {
    EXPECT_FALSE(std::holds_alternative<Fire>(*action));
  }
  conductor.durable(1, base::segment_start);  // not yet the plan's own record
  EXPECT_FALSE(conductor.take_action().has_value());
  conductor.durable(2, base::segment_start);
  const auto action = conductor.take_action();
  ASSERT_TRUE(action.has_value());
  EXPECT_TRUE(std::holds_alternative<Fire>(*action));
}

TEST(Conductor, DropsTheTapsWhenTheJournalTakesTooLong) {
  Bench setup(scenario_text(1));
  const auto scenario = scenario::parse_scenario(scenario_text(1), "test.toml");
  Conductor conductor(scenario, setup.rig(), false, 1);
  conductor.begin(base::segment_start);
  while (conductor.take_action()) {
  }
  conductor.durable(2, base::segment_start + 10s);
  EXPECT_FALSE(conductor.take_action().has_value());
  conductor.wake(base::segment_start + 20s);
  const auto action = conductor.take_action();
  ASSERT_TRUE(action.has_value());
  EXPECT_EQ(std::get<journal::TrialDone>(std::get<Append>(*action).record).void_reason,
            VoidReason::late_pulse);
}

std::string limited(const std::string& from, const std::string& to) {
  std::string text = rig_text;
  return text.replace(text.find(from), from.size(), to);
}

// Nothing was rehearsed here: the conductor's own look must do.
TEST(Conductor, TapsNoTrialThatBreaksALimit) {  // [S41]
  const std::vector<std::string> tight{
      limited("max_pulse_ms = 30", "max_pulse_ms = 9"),
      limited("min_rest_ms = 40", "min_rest_ms = 300"),
      limited("max_coil_c = 90", "max_coil_c = 33.001"),
      limited("max_energy_mj = 50", "max_energy_mj = 4.8"),
  };
  for (const std::string& rig : tight) {
    Bench bench(scenario_text(10), {}, false, rig);
    const Ended ended = bench.run();
    EXPECT_EQ(ended.reason, Ended::Reason::fault);
    EXPECT_THAT(ended.detail, HasSubstr("would"));
    EXPECT_LE(bench.tapper.fired.size(), 2U);
    EXPECT_GE(bench.tapper.made_safe, 1);
  }
}

TEST(Conductor, LetsTheCoilRestBeforeARepeatThatWouldBreakALimit) {  // [S41]
  // A strike of 0.9 m/s takes 10 ms: the on time is enough for 10 trials of two taps.
  const std::string rig = limited("max_on_in_span_s = 75", "max_on_in_span_s = 0.2");
  Bench without_voids(scenario_text(10), {}, false, rig);
  EXPECT_EQ(without_voids.run().reason, Ended::Reason::complete);
  Bench bench(scenario_text(10), {.no_contact = {4}}, false, rig);
  EXPECT_EQ(bench.run().reason, Ended::Reason::complete);
  ASSERT_EQ(bench.tapper.fired.size(), 22U);
  // The first pulses have left the span before the last ones come.
  const auto& fired = bench.tapper.fired;
  EXPECT_GE(fired[21].off() - fired[0].off(), 300s);
  EXPECT_LT(fired[19].off() - fired[0].off(), 300s);
}

const std::string taps_then_quiet = scenario_text(10, "[[block]]\nquiet_s = 20\nstretch_s = 5\n");

/// The pulses of the third trial, where nothing goes wrong.
std::vector<base::Pulse> pulses_of_third_trial() {
  Bench undisturbed(taps_then_quiet);
  undisturbed.run();
  return {undisturbed.tapper.fired[4], undisturbed.tapper.fired[5]};
}

void expect_only_quiet_after(const Bench& bench, base::Instant leave_ended) {
  std::size_t quiet = 0;
  for (const auto& planned : bench.records<journal::TrialPlanned>()) {
    if (planned.start < leave_ended) continue;
    EXPECT_EQ(planned.trial.kind, base::TrialKind::quiet);
    ++quiet;
  }
  EXPECT_EQ(quiet, 4U) << "20 s in stretches of 5 s are still listened to";
}

TEST(Conductor, ATripWithinATrialVoidsItAndOnlyListeningGoesOn) {  // [S70]
  const auto pulses = pulses_of_third_trial();
  const rig::LeaveEnded trip{"tripped: lid", true, pulses[0].off() + 50ms};
  Bench bench(taps_then_quiet, {.leave_ends = trip});
  const Ended ended = bench.run();
  EXPECT_EQ(ended.reason, Ended::Reason::fault);
  EXPECT_EQ(ended.detail, "tripped: lid");
  EXPECT_THAT(bench.voids(), ElementsAre(VoidReason::interrupted));
  EXPECT_THAT(bench.tapper.fired, SizeIs(6)) << "nothing is given any more";
  expect_only_quiet_after(bench, trip.at);
  const auto left = bench.records<journal::LeaveEnded>();
  ASSERT_THAT(left, SizeIs(1));
  EXPECT_EQ(left[0].reason, "tripped: lid");
  EXPECT_EQ(left[0].at, trip.at);
  EXPECT_GE(bench.tapper.made_safe, 1);
}

TEST(Conductor, ATicketThatEndsWithinATrialVoidsItAndIsNoFault) {  // [S66] [S70]
  const auto pulses = pulses_of_third_trial();
  const rig::LeaveEnded over{"the arm ticket has ended", false, pulses[0].off() + 50ms};
  Bench bench(taps_then_quiet, {.leave_ends = over});
  const Ended ended = bench.run();
  EXPECT_EQ(ended.reason, Ended::Reason::interrupted);
  EXPECT_EQ(ended.detail, "the arm ticket has ended");
  EXPECT_THAT(bench.voids(), ElementsAre(VoidReason::interrupted));
  expect_only_quiet_after(bench, over.at);
}

TEST(Conductor, ATrialWhosePulsesWereGivenCountsThoughLeaveEndsWhileItListens) {  // [S70]
  const auto pulses = pulses_of_third_trial();
  const rig::LeaveEnded trip{"tripped: lid", true, pulses[1].off() + 100ms};
  Bench bench(taps_then_quiet, {.leave_ends = trip});
  EXPECT_EQ(bench.run().reason, Ended::Reason::fault);
  EXPECT_THAT(bench.voids(), IsEmpty());
  EXPECT_EQ(bench.progress().done, 3U + 4U);
}

TEST(Conductor, LeaveThatEndsInQuietDisturbsNothingThatListens) {  // [S70]
  Bench undisturbed(taps_then_quiet);
  undisturbed.run();
  const base::Instant in_quiet = undisturbed.records<journal::TrialPlanned>().back().start;
  Bench bench(taps_then_quiet, {.leave_ends = rig::LeaveEnded{"tripped: lid", true, in_quiet}});
  EXPECT_EQ(bench.run().reason, Ended::Reason::fault);
  EXPECT_THAT(bench.voids(), IsEmpty());
  EXPECT_EQ(bench.progress().done, 14U);
}

TEST(Conductor, KeepsTheLimitsWhateverGoesWrong) {  // [S41]
  for (std::uint32_t i = 0; i < 200; ++i) {
    Script script;
    const auto draw = [&](std::uint32_t what, std::int64_t high) {
      return static_cast<int>(
          base::uniform_between({.seed = 99, .trial = i, .tap = what}, 1, high));
    };
    for (std::uint32_t k = 0; k < 4; ++k) {
      script.no_contact.insert(draw(k, 60));
      script.second_contact.insert(draw(10 + k, 60));
      script.late.insert(draw(20 + k, 60));
    }
    if (draw(30, 3) == 1) script.transit_moves_at = draw(31, 60);
    Bench bench(scenario_text(20, with_reference), script);
    bench.run(draw(40, 3) == 1 ? draw(41, 150) : -1);
    const auto& fired = bench.tapper.fired;
    for (std::size_t k = 0; k < fired.size(); ++k) {
      ASSERT_LE(fired[k].on_time, 30ms);
      if (k == 0) continue;
      ASSERT_GE(fired[k].on - fired[k - 1].off(), 40ms);
    }
    ASSERT_THAT(bench.records<Ended>(), SizeIs(1));
    ASSERT_GE(bench.tapper.made_safe, 1);
  }
}

TEST(Conductor, KeepsWhatIsSeenBesideTheRigAndPlansAsWithoutIt) {
  Bench without(scenario_text(10));
  without.run();
  Bench bench(scenario_text(10));
  const base::Instant door = base::segment_start + 5s;
  const rig::ClockSeen summer{
      .at = door, .wall_ns = 1'774'746'000'000'000'000, .utc_offset_s = 7200};
  std::vector<rig::Observation> coming{
      rig::DisturbanceSensed{"kiln door", "hand", door - 2s, door + 1s, door}, summer};
  bench.seen_beside = [&]() -> std::optional<rig::Observation> {
    if (coming.empty() || bench.tapper.now() < door) return std::nullopt;
    const rig::Observation seen = coming.front();
    coming.erase(coming.begin());
    return seen;
  };
  EXPECT_EQ(bench.run().reason, Ended::Reason::complete);
  EXPECT_THAT(bench.records<journal::Disturbance>(),
              ElementsAre(journal::Disturbance{"kiln door", "hand", door - 2s, door + 1s, door}));
  EXPECT_THAT(bench.records<journal::ClockSet>(),
              ElementsAre(journal::ClockSet{door, summer.wall_ns, summer.utc_offset_s}));
  EXPECT_EQ(bench.records<journal::TrialPlanned>(), without.records<journal::TrialPlanned>());
  EXPECT_EQ(bench.records<journal::TrialDone>(), without.records<journal::TrialDone>());
}

TEST(Conductor, EndsInOrderWhereItIsToldThatTheRunMustEnd) {
  Bench bench(scenario_text(10));
  bench.must_end = [&]() -> std::optional<std::string> {
    if (bench.tapper.now() < base::segment_start + 5s) return std::nullopt;
    return "the disk is nearly full";
  };
  const Ended ended = bench.run();
  EXPECT_EQ(ended.reason, Ended::Reason::interrupted);
  EXPECT_EQ(ended.detail, "the disk is nearly full");
  EXPECT_GE(bench.tapper.made_safe, 1);
  EXPECT_EQ(bench.records<Ended>(), std::vector{ended}) << "durable";
}

}  // namespace
}  // namespace plexor::run
