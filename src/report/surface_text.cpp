#include "report/surface_text.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <cmath>

namespace plexor::report {

namespace {

using analysis::Interval;

std::string with_unit(const std::string& figure, std::string_view unit) {
  return unit.empty() ? figure : fmt::format("{} {}", figure, unit);
}

std::string three_digits(double value) { return fmt::format("{:.3g}", value); }

std::string middle_text(const analysis::MiddleOf& middle, double factor, std::string_view unit) {
  const auto end = [&](double value) {
    return std::isfinite(value) ? three_digits(value * factor) : "no bound";
  };
  return fmt::format("{} ({} to {})", with_unit(three_digits(middle.median * factor), unit),
                     end(middle.interval.lower), end(middle.interval.upper));
}

std::string percent_text(double change) { return fmt::format("{:+.1f} %", change * 100.0); }

std::string lines_text(const std::vector<analysis::SurfaceLine>& lines) {
  std::vector<std::string> words;
  for (const analysis::SurfaceLine& line : lines) {
    if (words.size() == 5) break;
    words.push_back(fmt::format("{:.0f} Hz ({:.0f} dB)", line.hz, line.db));
  }
  return fmt::format("{}", fmt::join(words, ", "));
}

/// Peaks of the wanted speed at a spot, if the channel of the device has waves of it.
std::optional<double> peak_at(const analysis::ChannelSignal& channel, std::uint32_t spot,
                              double strike_m_s) {
  for (const analysis::SpotSignal& one : channel.spots) {
    if (one.spot == spot && one.signal.strength) return one.signal.strength->peak_at(strike_m_s);
  }
  return std::nullopt;
}

struct Placed {
  std::uint32_t spot = 0;
  double mm = 0.0;
  double peak = 0.0;
};

/// Rank correlation of peak and distance: -1 where each farther spot is softer.
double rank_correlation(std::vector<Placed> spots) {
  const auto ranks = [&](auto less) {
    std::vector<double> rank(spots.size());
    for (std::size_t i = 0; i < spots.size(); ++i) {
      for (std::size_t j = 0; j < spots.size(); ++j) {
        if (less(spots[j], spots[i])) rank[i] += 1.0;
      }
    }
    return rank;
  };
  const auto by_mm = ranks([](const Placed& a, const Placed& b) { return a.mm < b.mm; });
  const auto by_peak = ranks([](const Placed& a, const Placed& b) { return a.peak < b.peak; });
  double sum = 0.0;
  for (std::size_t i = 0; i < spots.size(); ++i) sum += std::pow(by_mm[i] - by_peak[i], 2);
  const auto n = static_cast<double>(spots.size());
  return 1.0 - 6.0 * sum / (n * (n * n - 1.0));
}

std::string place_sentence(const analysis::Results& results, std::vector<Placed> spots,
                           const std::string& device, std::string_view unit) {
  const auto [low, high] = std::minmax_element(
      spots.begin(), spots.end(), [](const auto& a, const auto& b) { return a.peak < b.peak; });
  const double decibel = 20.0 * std::log10(high->peak / low->peak);
  const double rank = rank_correlation(spots);
  const std::string loud = fmt::format("{:.0f} {} at \"{}\" ({:.0f} mm from the sensor)",
                                       high->peak, unit, spot_name(results, high->spot), high->mm);
  const std::string soft = fmt::format("{:.0f} {} at \"{}\" ({:.0f} mm)", low->peak, unit,
                                       spot_name(results, low->spot), low->mm);
  const bool farther_is_softer = rank < -0.8 && spots.size() > 3;
  return fmt::format(
      "{}: the same strike's peak is {} and {}, {:.1f} dB apart; over {} spots its rank "
      "correlation with distance is {:.2f}{}",
      device, loud, soft, decibel, spots.size(), rank,
      farther_is_softer
          ? ": here distance tells"
          : ": distance alone does not tell. On a finite top nodal lines matter more: a spot on "
            "the nodal line of a strong mode is quiet however near it is");
}

}  // namespace

std::string strike_text(double ln_strike, std::string_view unit) {
  return with_unit(three_digits(std::exp(ln_strike)), unit);
}

std::string strike_interval_text(const Interval& ln_interval, std::string_view unit) {
  const auto end = [](double ln) {
    return std::isfinite(ln) ? three_digits(std::exp(ln)) : std::string("no bound");
  };
  return with_unit(fmt::format("{} to {}", end(ln_interval.lower), end(ln_interval.upper)), unit);
}

std::string energy_text(double ln_m_s, const journal::RigFacts& rig) {
  constexpr double mj_per_ug_m2_s2 = 0.5e-6;  // half of kg per microgram, in mJ
  if (rig.moving_mass_ug == 0 || !rig.calibrated || !std::isfinite(ln_m_s)) return "–";
  const double speed = std::exp(ln_m_s);
  return three_digits(static_cast<double>(rig.moving_mass_ug) * mj_per_ug_m2_s2 * speed * speed) +
         " mJ";
}

std::string spot_name(const analysis::Results& results, std::uint32_t spot) {
  return spot < results.spots.size() ? results.spots[spot].name : results.header.rig.spot;
}

std::string advice_text(const analysis::ChannelSignal& channel, std::string_view unit) {
  const analysis::TriggerAdvice& advice = channel.advice;
  if (!advice.chosen) return "no advice: " + advice.why_none;
  std::string text = fmt::format("threshold {:.0f} {}", advice.chosen->threshold, unit);
  text += advice.lockout ? fmt::format(", lockout {:.0f} ms", advice.lockout->seconds * 1e3)
                         : fmt::format("; no lockout: {}", advice.lockout.why_not);
  return text;
}

std::vector<std::string> signal_sentences(const analysis::SpotSignal& spot, std::string_view unit) {
  const analysis::SurfaceSignal& signal = spot.signal;
  std::vector<std::string> sentences;
  if (signal.peak_codes) {
    std::string peak = fmt::format("peak {} over {} taps", middle_text(*signal.peak_codes, 1, unit),
                                   signal.peak_codes->taps);
    if (signal.noise_rms)
      peak += fmt::format(", noise {:.2g} {} rms", signal.noise_rms->median, unit);
    if (signal.snr_db) peak += fmt::format(", SNR {:.0f} dB", signal.snr_db->median);
    if (signal.clipped > 0) peak += fmt::format("; {} taps clipped", signal.clipped);
    sentences.push_back(peak +
                        fmt::format("; {} of {} peaks upwards", signal.upwards, signal.clear));
  }
  if (signal.strength) {
    const auto& power = *signal.strength;
    sentences.push_back(
        fmt::format("the peak grows as the strike speed to the power {:.2f} ({:.2f} to {:.2f})",
                    power.line.slope, power.slope_interval.lower, power.slope_interval.upper));
  }
  if (!signal.lines.empty()) {
    sentences.push_back(fmt::format("strongest lines: {}; resolution {:.0f} Hz",
                                    lines_text(signal.lines), signal.resolution_hz));
  }
  if (signal.time_constant_s) {
    std::string decay =
        "amplitude falls to 1/e in " + middle_text(*signal.time_constant_s, 1e3, "ms");
    if (signal.loss_factor)
      decay += fmt::format(", loss factor {:.3f}", signal.loss_factor->median);
    sentences.push_back(decay);
  }
  for (const analysis::RingDownQuantile& one : signal.ring_down) {
    if (one.p != 0.95 || !one.seconds) continue;
    sentences.push_back(
        fmt::format("95 % of the taps are down in the noise after {:.0f} ms", *one.seconds * 1e3));
  }
  if (spot.change) {
    const bool shown = spot.change->interval.lower > 0.0 || spot.change->interval.upper < 0.0;
    sentences.push_back(fmt::format(
        "the same strike's peak in the second half of the run against the first: {} ({} to {}): {}",
        percent_text(spot.change->change), percent_text(spot.change->interval.lower),
        percent_text(spot.change->interval.upper),
        shown ? "something changed: a dent, or a mounting that comes loose"
              : "no change is shown"));
  }
  return sentences;
}

std::optional<double> distance_mm(const analysis::Results& results, std::uint32_t spot,
                                  std::size_t device) {
  if (spot >= results.spots.size() || device >= results.header.rig.devices.size()) return {};
  const auto& from = results.spots[spot].at;
  const auto& to = results.header.rig.devices[device].at;
  if (!from || !to) return std::nullopt;
  constexpr double um_per_mm = 1e3;
  return std::hypot(static_cast<double>(from->x_um - to->x_um),
                    static_cast<double>(from->y_um - to->y_um)) /
         um_per_mm;
}

std::vector<std::string> map_sentences(const analysis::Results& results) {
  std::vector<std::string> sentences;
  if (results.spots.size() < 2) return sentences;
  for (const analysis::ChannelSignal& channel : results.channels) {
    const journal::ChannelFacts& facts = results.header.rig.channels[channel.channel];
    const std::size_t device = facts.device.value_or(0);
    std::vector<Placed> spots;
    for (std::uint32_t spot = 0; spot < results.spots.size(); ++spot) {
      const auto mm = distance_mm(results, spot, device);
      const auto peak = peak_at(channel, spot, channel.softest_m_s);
      if (mm && peak) spots.push_back({spot, *mm, *peak});
    }
    if (spots.size() > 1) {
      sentences.push_back(place_sentence(results, spots, facts.name, facts.unit));
    }
  }
  return sentences;
}

}  // namespace plexor::report
