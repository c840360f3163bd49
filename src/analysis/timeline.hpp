#pragma once

#include <vector>

#include "analysis/results.hpp"

namespace plexor::analysis {

/// Counts along the run in at most 240 equal stretches, without knowing its
/// length beforehand: begins with 1 s and doubles the stretch whenever the run outgrows them.
class Timeline {
 public:
  /// One device's answer to a valid trial, `at_s` seconds after the run began.
  void answer(double at_s, bool wrong);
  /// One incident in quiet.
  void alarm(double at_s);

  /// The stretches up to `duration_s`, empty ones included.
  [[nodiscard]] std::vector<TimelineBin> stretches(double duration_s) &&;

 private:
  [[nodiscard]] TimelineBin& at(double at_s);

  double width_s_ = 1.0;
  std::vector<TimelineBin> bins_;
};

}  // namespace plexor::analysis
