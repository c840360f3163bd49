#include "analysis/signal/signal_gatherer.hpp"

#include <algorithm>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>
#include <limits>
#include <utility>

#include "scenario/planner.hpp"

namespace plexor::analysis {

namespace {

double samples_after(const journal::Waveform& wave, base::Instant at) {
  return static_cast<double>((at - wave.first).count()) / static_cast<double>(wave.period.count());
}

double rate_hz_of(const journal::Waveform& wave) { return 1.0 / base::to_s(wave.period); }

/// Samples before anything moved: the coil is switched a transit before the contact.
std::size_t quiet_samples(const journal::Waveform& wave, base::Instant first_pulse) {
  const double before = std::floor(samples_after(wave, first_pulse));
  return static_cast<std::size_t>(std::clamp(before, 0.0, static_cast<double>(wave.values.size())));
}

/// Where each tap lies in a wave that holds all of them.
std::vector<TapWindow> windows_of(const journal::Waveform& wave,
                                  const std::vector<base::Instant>& contacts,
                                  base::Instant first_pulse, Rails rails) {
  std::vector<TapWindow> windows;
  const auto size = static_cast<double>(wave.values.size());
  for (std::size_t i = 0; i < contacts.size(); ++i) {
    const bool follows = i + 1 < contacts.size();
    const double end = follows ? samples_after(wave, contacts[i + 1]) : size;
    windows.push_back({.values = wave.values,
                       .rate_hz = rate_hz_of(wave),
                       .quiet = quiet_samples(wave, first_pulse),
                       .contact = samples_after(wave, contacts[i]),
                       .end = static_cast<std::size_t>(std::clamp(end, 0.0, size)),
                       .tap_follows = follows,
                       .rails = rails});
  }
  return windows;
}

/// Peaks of the first and the second half of the run, as far as they are known, against what the
/// strike speed explains.
class PeaksInHalves {
 public:
  void add(const TapSignal& tap, double strike_m_s) {
    if (!tap.peak || tap.peak->is_bound) return;
    ln_peaks_.emplace_back(std::log(strike_m_s), std::log(std::abs(tap.peak->codes)));
  }

  [[nodiscard]] std::optional<PeakChange> change(const SurfaceSignal& signal) const {
    constexpr std::size_t fewest = 12;
    if (!signal.strength || ln_peaks_.size() < fewest) return std::nullopt;
    const std::size_t half = ln_peaks_.size() / 2;
    const Residuals first = residuals(*signal.strength, 0, half);
    const Residuals second = residuals(*signal.strength, half, ln_peaks_.size());
    const double difference = second.mean - first.mean;
    const double variance = first.variance / first.n + second.variance / second.n;
    const boost::math::students_t t(std::min(first.n, second.n) - 1.0);
    const double reach = boost::math::quantile(t, 0.975) * std::sqrt(variance);
    return PeakChange{.taps = ln_peaks_.size(),
                      .change = std::expm1(difference),
                      .interval = {std::expm1(difference - reach), std::expm1(difference + reach),
                                   0.95, Sides::two, "Welch"}};
  }

 private:
  struct Residuals {
    double n = 0.0;
    double mean = 0.0;
    double variance = 0.0;
  };
  [[nodiscard]] Residuals residuals(const PeakAgainstStrike& strength, std::size_t from,
                                    std::size_t to) const {
    Residuals found{.n = static_cast<double>(to - from)};
    const auto off = [&](std::size_t i) {
      return ln_peaks_[i].second - strength.line.at(ln_peaks_[i].first);
    };
    for (std::size_t i = from; i < to; ++i) found.mean += off(i) / found.n;
    for (std::size_t i = from; i < to; ++i) {
      found.variance += std::pow(off(i) - found.mean, 2) / (found.n - 1.0);
    }
    return found;
  }

  std::vector<std::pair<double, double>> ln_peaks_;  ///< against ln strike speed, in order of time
};

}  // namespace

SignalGatherer::SignalGatherer(const journal::Header& header)
    : scenario_(scenario::parse_scenario(header.scenario_text, header.scenario_file)),
      rig_(header.rig),
      channels_(header.rig.channels.size()) {}

void SignalGatherer::take(const TrialRow& row) {
  const base::Trial& trial = row.planned->trial;
  if (row.settled->void_reason || trial.kind == base::TrialKind::reference) return;
  Known known;
  if (trial.kind == base::TrialKind::rhythm) {
    const bool sensed = rig_.contact_sensed && row.done->contacts.size() == trial.taps.size();
    for (std::size_t i = 0; i < trial.taps.size(); ++i) {
      known.contacts.push_back(sensed ? row.done->contacts[i]
                                      : row.planned->start + trial.taps[i].contact);
      known.strikes_m_s.push_back(base::to_m_s(trial.taps[i].strike));
    }
    known.first_pulse = row.done->actual.empty() ? row.planned->start : row.done->actual.front().on;
    known.spot = scenario_.blocks[trial.id.block].spot;
    known.order = with_taps_++;
  }
  trials_.insert_or_assign(trial.id, std::move(known));
}

void SignalGatherer::take(const journal::WaveRecord& record) {
  if (const auto* quiet = std::get_if<journal::QuietEnvelope>(&record)) {
    if (quiet->channel >= channels_.size() || !trials_.contains(quiet->trial)) return;
    channels_[quiet->channel].quiet.push_back(*quiet);
    return;
  }
  const auto& wave = std::get<journal::Waveform>(record);
  const auto found = trials_.find(wave.trial);
  if (wave.channel >= channels_.size() || found == trials_.end()) return;
  const Known& known = found->second;
  if (known.contacts.empty() || wave.period <= base::Duration::zero()) return;
  const std::uint64_t every = (with_taps_ + most_waves - 1) / most_waves;
  const bool is_whole =
      known.contacts.front() >= wave.first &&
      samples_after(wave, known.contacts.back()) + 1.0 < static_cast<double>(wave.values.size());
  if (is_whole && known.order % every == 0) channels_[wave.channel].waves.push_back({wave, &known});
}

double SignalGatherer::shortest_interval_s() const {
  base::Duration shortest = base::Duration::max();
  for (const scenario::Block& block : scenario_.blocks) {
    shortest = std::min(shortest, scenario::envelope_of(scenario_, block).shortest_interval);
  }
  return shortest == base::Duration::max() ? 0.0 : base::to_s(shortest);
}

double SignalGatherer::softest_m_s() const {
  if (scenario_.wanted.softest) return base::to_m_s(*scenario_.wanted.softest);
  double softest = std::numeric_limits<double>::infinity();
  for (const auto& [id, known] : trials_) {
    for (const double strike : known.strikes_m_s) softest = std::min(softest, strike);
  }
  return std::isfinite(softest) ? softest : 0.0;
}

ChannelSignal SignalGatherer::signal_of(std::uint32_t index) const {
  const Channel& channel = channels_[index];
  const journal::ChannelFacts& facts = rig_.channels[index];
  const Rails rails{facts.lowest, facts.highest};
  ChannelSignal result{.channel = index};
  std::map<std::uint32_t, std::pair<SurfaceTally, PeaksInHalves>> spots;
  std::vector<RecordedTrial> trials;
  for (const auto& [wave, known] : channel.waves) {
    RecordedTrial& trial =
        trials.emplace_back(RecordedTrial{.values = wave.values,
                                          .rate_hz = rate_hz_of(wave),
                                          .quiet = quiet_samples(wave, known->first_pulse)});
    const auto windows = windows_of(wave, known->contacts, known->first_pulse, rails);
    for (std::size_t i = 0; i < windows.size(); ++i) {
      trial.knocks.push_back({windows[i].contact, known->strikes_m_s[i]});
      auto& [tally, peaks] = spots[known->spot];
      peaks.add(tally.take(windows[i], known->strikes_m_s[i]), known->strikes_m_s[i]);
    }
  }
  for (const auto& [spot, both] : spots) {
    SpotSignal& one = result.spots.emplace_back(SpotSignal{spot, both.first.finish()});
    one.change = both.second.change(one.signal);
  }
  std::vector<QuietStretch> quiet;
  for (const journal::QuietEnvelope& one : channel.quiet) {
    quiet.push_back({one.lowest, one.highest, base::to_s(one.bin)});
  }
  result.trials_looked_at = trials.size();
  result.softest_m_s = softest_m_s();
  result.most_false_per_hour = scenario_.wanted.false_triggers_per_hour;
  result.shortest_interval_s = shortest_interval_s();
  result.advice = advise_trigger({.trials = trials,
                                  .quiet = quiet,
                                  .softest_m_s = result.softest_m_s,
                                  .shortest_interval_s = result.shortest_interval_s,
                                  .most_false_per_hour = result.most_false_per_hour,
                                  .rails = rails});
  return result;
}

std::vector<ChannelSignal> SignalGatherer::finish() const {
  std::vector<ChannelSignal> signals;
  for (std::uint32_t index = 0; index < channels_.size(); ++index) {
    if (!channels_[index].waves.empty()) signals.push_back(signal_of(index));
  }
  return signals;
}

}  // namespace plexor::analysis
