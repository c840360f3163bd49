#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <tuple>
#include <vector>

#include "analysis/response/strength_response.hpp"
#include "base/trial.hpp"
#include "scenario/scenario.hpp"

namespace plexor::analysis {

/// Has the surface, or the mounting, changed since the curve was measured? The block's last trials,
/// at the strength of which half was heard, held against the curve of those before.
struct Recheck {
  std::uint64_t trials = 0;
  std::uint64_t heard = 0;
  double change = 0.0;  ///< of the strike speed of which half is heard: 0.1 is a tenth more
  Interval interval{};  ///< of that, two-sided 95 %, delta method
  bool is_shown = false;
  std::string word;  ///< one sentence
};

/// Detection against strike speed: of one rhythm with one device, at one spot.
struct StrengthCurve {
  std::string rhythm;
  std::uint32_t spot = 0;  ///< index into the scenario's
  StrengthResponse response;
  std::optional<Recheck> recheck{};
};

/// Gathers one device's answers. Memory grows by 24 bytes a trial: for surface scenarios.
class StrengthCurves {
 public:
  /// `scenario` outlives it; `unit` is "m/s", or empty for drive.
  StrengthCurves(const scenario::Scenario& scenario, std::string unit);

  /// A valid trial of a rhythm that expects an event. Trials whose taps strike differently count by
  /// their mean.
  void count(const base::Trial& trial, base::StrikeSpeed mean, bool hit);

  /// By spot, then in the scenario's order of rhythms; those with trials.
  [[nodiscard]] std::vector<StrengthCurve> finish() const;

 private:
  struct One {
    std::uint32_t block = 0;
    std::uint32_t number = 0;
    double ln_m_s = 0.0;
    bool hit = false;
  };
  [[nodiscard]] std::optional<Recheck> recheck_of(std::span<const One> trials,
                                                  const StrengthResponse& response) const;

  const scenario::Scenario& scenario_;
  std::string unit_;
  std::map<std::pair<std::uint32_t, std::uint32_t>, std::vector<One>> trials_;  ///< by spot, rhythm
};

}  // namespace plexor::analysis
