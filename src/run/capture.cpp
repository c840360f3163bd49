#include "run/capture.hpp"

#include <algorithm>
#include <utility>

namespace plexor::run {

namespace {

base::Duration bins_of(const journal::QuietEnvelope& quiet) {
  return static_cast<std::int64_t>(quiet.lowest.size()) * quiet.bin;
}

}  // namespace

base::Instant Capture::Stretch::end() const {
  return first + static_cast<std::int64_t>(values.size()) * period;
}

/// Drops what was taken before; none where there is nothing.
void Capture::Stretch::keep_from(base::Instant instant) {
  if (values.empty() || instant <= first) return;
  const std::int64_t samples = (instant - first + period - base::Duration{1}) / period;
  const auto dropped = std::min(samples, static_cast<std::int64_t>(values.size()));
  values.erase(values.begin(), values.begin() + dropped);
  first += dropped * period;
}

Capture::Capture(std::uint32_t channels) : channels_(channels) {}

void Capture::begin(const base::TrialId& trial, base::TrialKind kind, base::Instant first_contact) {
  const bool quiet = kind == base::TrialKind::quiet;
  current_ = Current{trial, quiet, quiet ? first_contact : first_contact - lead};
  for (OneChannel& channel : channels_) channel.quiet = {};
}

void Capture::take(const rig::SamplesHeard& samples) {
  if (samples.values.empty()) return;
  OneChannel& channel = channels_.at(samples.channel);
  Stretch& recent = channel.recent;
  // After a gap what came before can't stand in one row with it.
  const base::Duration tolerance =
      std::max(samples.period / 2, rig::SamplesHeard::longest_adjustment);
  const bool follows = samples.period == recent.period &&
                       std::chrono::abs(samples.first - recent.end()) <= tolerance;
  if (!follows) recent = {samples.first, samples.period, {}};
  // What is known now of the sender's clock holds for what came shortly before too.
  recent.first = samples.first - static_cast<std::int64_t>(recent.values.size()) * samples.period;
  recent.values.insert(recent.values.end(), samples.values.begin(), samples.values.end());
  if (current_ && current_->quiet) {
    add_to_envelope(samples, channel.quiet);
    recent.keep_from(recent.end() - lead);
  } else {
    recent.keep_from(current_ ? current_->from : recent.end() - lead - longest_tail);
    // A trial may listen for long: its tail is enough.
    constexpr base::Duration longest = std::chrono::seconds{60};
    if (recent.end() - recent.first > longest) recent.keep_from(recent.end() - longest);
  }
}

void Capture::add_to_envelope(const rig::SamplesHeard& samples,
                              std::vector<journal::QuietEnvelope>& quiet) const {
  for (std::size_t i = 0; i < samples.values.size(); ++i) {
    const base::Instant at = samples.first + static_cast<std::int64_t>(i) * samples.period;
    if (at < current_->from) continue;
    const std::int32_t value = samples.values[i];
    const bool has_gap = !quiet.empty() && at >= quiet.back().first + bins_of(quiet.back()) + bin;
    if (quiet.empty() || has_gap) {
      quiet.push_back(
          {.trial = current_->trial, .channel = samples.channel, .first = at, .bin = bin});
    }
    journal::QuietEnvelope& last = quiet.back();
    if (at < last.first) continue;
    if (at >= last.first + bins_of(last)) {
      last.lowest.push_back(value);
      last.highest.push_back(value);
      continue;
    }
    const auto index = static_cast<std::size_t>((at - last.first) / bin);
    last.lowest[index] = std::min(last.lowest[index], value);
    last.highest[index] = std::max(last.highest[index], value);
  }
}

std::vector<journal::WaveRecord> Capture::finish(base::Instant last_contact) {
  std::vector<journal::WaveRecord> records;
  if (!current_) return records;
  for (std::uint32_t index = 0; index < channels_.size(); ++index) {
    OneChannel& channel = channels_[index];
    if (current_->quiet) {
      for (journal::QuietEnvelope& quiet : channel.quiet) records.emplace_back(std::move(quiet));
      continue;
    }
    Stretch wave = channel.recent;
    wave.keep_from(current_->from);
    const base::Instant end = std::min(wave.end(), last_contact + longest_tail);
    if (wave.values.empty() || end <= wave.first) continue;
    wave.values.resize(static_cast<std::size_t>((end - wave.first) / wave.period));
    if (wave.values.empty()) continue;
    records.emplace_back(journal::Waveform{.trial = current_->trial,
                                           .channel = index,
                                           .first = wave.first,
                                           .period = wave.period,
                                           .values = std::move(wave.values)});
  }
  current_.reset();
  return records;
}

}  // namespace plexor::run
