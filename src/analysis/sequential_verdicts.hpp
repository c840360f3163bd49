#pragma once

#include <cstdint>
#include <string>

#include "analysis/verdicts.hpp"
#include "judge/sequential_limits.hpp"
#include "scenario/scenario.hpp"

namespace plexor::analysis {

/// What a sequential limit says about one device: `test` is nothing where what is planned is too
/// little for any device to pass.
[[nodiscard]] Judged judge_sequential(const std::string& device, const scenario::Limit& limit,
                                      const judge::SequentialLimit& planned,
                                      const judge::SequentialTest* test);

/// Takes away the intervals that a run's stop has made wrong: those for a fixed number of trials,
/// of all shares and rates counted in what a sequential limit may have ended.
void withdraw_fixed_intervals(DeviceResult& device, const scenario::Accept& accept);
void withdraw_fixed_intervals(SoakResults& soak, const scenario::Accept& accept);

/// "detection rate", "answered within 900 ms", ...: Verdict::figure.
[[nodiscard]] std::string figure_of(const judge::SequentialLimit& limit);

}  // namespace plexor::analysis
