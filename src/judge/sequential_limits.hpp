#pragma once

#include <cstdint>
#include <optional>
#include <set>
#include <vector>

#include "base/stretch.hpp"
#include "base/time.hpp"
#include "base/trial.hpp"
#include "judge/judge.hpp"
#include "judge/sequential.hpp"
#include "scenario/scenario.hpp"

namespace plexor::judge {

/// What a limit of [accept] counts.
enum class Counted : std::uint8_t {
  hits,             ///< of the trials that expect an event
  answers_in_time,  ///< hits within a latency, of the same
  confusions,       ///< of the same
  responses,        ///< of distractors
  alarms,           ///< incidents in hours of quiet
};

/// A limit that is tested sequentially, and how.
struct SequentialLimit {
  Counted counted = Counted::hits;
  double within_ms = 0.0;  ///< of answers_in_time
  SequentialAim aim;       ///< of shares: of trials that do not fail
  double planned = 0.0;    ///< trials; hours of quiet
  /// Trials (hours) of a plan in which the test always ends; nothing where good and bad lie so near
  /// each other that it would take more than most_allowed failures: then it is not tested.
  std::optional<double> always_decides{};
  std::optional<double> least{};  ///< with fewer no device can pass
  /// Nothing: in what is planned no device can pass.
  std::optional<SequentialDesign> design{};
};

/// All of a scenario, in the order detection, latencies, alarms, false responses, confusions.
/// Tests that always end with pass or fail, where the plan is long enough for one; else Wald's
/// lines, cut off where the plan ends, a little wider apart, so that both errors are kept.
[[nodiscard]] std::vector<SequentialLimit> sequential_limits(const scenario::Scenario& scenario);

/// The sequential limits of a run: used while it goes on, to stop blocks whose verdicts are known,
/// and afterwards for the verdicts.
class SequentialLimits {
 public:
  SequentialLimits(const scenario::Scenario& scenario, std::uint32_t devices);

  /// A presentation has settled. In the order of presentation; void ones do not count.
  void count(const Settled& settled);
  /// The same of a quiet one, since whose begin only these stretches were undisturbed, in order:
  /// alarms beside them do not count.
  void count_quiet(const Settled& settled, const std::vector<base::Stretch>& undisturbed);
  /// A quiet presentation that was counted already turns out to have been disturbed; test_corrected
  /// says then what that means. Nothing happens if it has been taken back meanwhile.
  void correct_quiet(const Settled& settled, const std::vector<base::Stretch>& undisturbed);
  void test_corrected();
  /// A presentation does not count after all, whether it has settled already or not.
  void take_back(const base::TrialId& id);

  /// All verdicts that trials of this block bear on are known: each limit on them is sequential,
  /// and its test has ended for each device. Not so where no limit is on them.
  [[nodiscard]] bool is_known(std::uint32_t block) const;

  [[nodiscard]] const std::vector<SequentialLimit>& limits() const { return limits_; }
  /// Of this limit (index) with this device; nothing where the limit has no design.
  [[nodiscard]] const SequentialTest* find(std::size_t limit, std::uint32_t device) const;

 private:
  /// What one presentation adds to one test.
  struct Step {
    base::TrialId id;
    bool failed = false;
    base::Duration listened{};
    std::vector<base::Duration> alarms{};  ///< since the begin of the quiet
  };
  /// How far one limit has come with one device.
  struct LimitTest {
    std::size_t limit = 0;  ///< index into limits_
    std::uint32_t device = 0;
    SequentialTest test;
    std::vector<Step> steps{};
    base::Duration listened{};  ///< in all steps
    bool is_corrected = false;  ///< since it was tested

    void apply(const Step& step);
  };
  [[nodiscard]] std::optional<Step> step_of(const Settled& settled, const LimitTest& test,
                                            const std::vector<base::Stretch>& undisturbed) const;
  void test_again(LimitTest& test) const;

  std::vector<SequentialLimit> limits_;
  std::vector<Counted> counted_by_block_;  ///< by block: hits, responses or alarms
  std::vector<LimitTest> tests_;
  std::set<base::TrialId> taken_back_;
};

}  // namespace plexor::judge
