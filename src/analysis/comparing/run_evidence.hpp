#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "analysis/analyse.hpp"
#include "analysis/results.hpp"
#include "base/trial.hpp"
#include "scenario/scenario.hpp"

namespace plexor::analysis {

/// How one device answered one valid trial of a rhythm that expects an event.
struct AnsweredTrial {
  std::uint32_t block = 0;
  std::uint32_t number = 0;
  std::uint32_t rhythm = 0;
  bool is_hit = false;
  double latency_ms = 0.0;  ///< of a hit; else +infinity

  /// The plan's name for it: runs of one plan and seed give the same taps under the same name.
  [[nodiscard]] std::uint64_t key() const { return std::uint64_t{block} << 32 | number; }
};

struct DeviceAnswers {
  std::string name;
  std::string version;
  std::vector<AnsweredTrial> trials;  ///< in the order of their keys, each at most once
  std::uint64_t incidents = 0;        ///< in quiet
};

/// What a comparison needs of one run: 32 bytes for each trial and device.
struct RunEvidence {
  std::string place;  ///< its folder, for people
  journal::Header header;
  scenario::Scenario scenario;
  double quiet_hours = 0.0;
  double void_fraction = 0.0;
  bool is_complete = false;
  std::vector<DeviceAnswers> devices;
};

/// Gathers it while the journal is analysed: give `row` to Analysis.
class EvidenceGatherer {
 public:
  void take(const TrialRow& row);
  /// `results` of the same journal. Call once, last.
  [[nodiscard]] RunEvidence finish(const std::string& place, const Results& results);

 private:
  std::vector<std::vector<AnsweredTrial>> trials_;  ///< by device
};

}  // namespace plexor::analysis
