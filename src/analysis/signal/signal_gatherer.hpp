#pragma once

#include <cstdint>
#include <map>
#include <vector>

#include "analysis/analyse.hpp"
#include "analysis/signal/channel_signal.hpp"
#include "journal/records.hpp"
#include "journal/waveforms.hpp"
#include "scenario/scenario.hpp"

namespace plexor::analysis {

/// Gathers what the waveforms of a run say: feed the rows of the run's analysis, then the
/// waveforms, then ask. Keeps the waves of at most most_waves trials and all quiet envelopes.
class SignalGatherer {
 public:
  static constexpr std::uint64_t most_waves = 1000;

  /// Throws base::InputError if the scenario's text can't be read.
  explicit SignalGatherer(const journal::Header& header);

  /// One settled presentation. Void ones and reference taps do not count.
  void take(const TrialRow& row);
  /// Records of trials that no row told of as valid are left out.
  void take(const journal::WaveRecord& wave);
  /// One for each channel of the rig that has waves.
  [[nodiscard]] std::vector<ChannelSignal> finish() const;

 private:
  struct Known {
    std::vector<base::Instant> contacts{};
    std::vector<double> strikes_m_s{};
    base::Instant first_pulse{};
    std::uint32_t spot = 0;
    std::uint64_t order = 0;  ///< among the trials with taps
  };
  struct Wave {
    journal::Waveform wave;
    const Known* known = nullptr;
  };
  struct Channel {
    std::vector<Wave> waves{};
    std::vector<journal::QuietEnvelope> quiet{};
  };
  [[nodiscard]] ChannelSignal signal_of(std::uint32_t index) const;
  [[nodiscard]] double shortest_interval_s() const;
  [[nodiscard]] double softest_m_s() const;

  scenario::Scenario scenario_;
  journal::RigFacts rig_;
  std::map<base::TrialId, Known> trials_;
  std::uint64_t with_taps_ = 0;
  std::vector<Channel> channels_;
};

}  // namespace plexor::analysis
