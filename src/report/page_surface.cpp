#include <cmath>

#include <fmt/format.h>

#include "report/format.hpp"
#include "report/page_view.hpp"
#include "report/surface_text.hpp"

namespace plexor::report {

namespace {

using analysis::ChannelSignal;
using analysis::Results;
using analysis::SpotSignal;
using analysis::StrengthCurve;
using analysis::StrengthResponse;

View plotted_pairs(const std::vector<std::pair<double, double>>& points, double factor_x) {
  View list = View::array();
  for (const auto& [x, y] : points) list.push_back({plotted(x * factor_x), plotted(y)});
  return list;
}

std::string share_cell(double share) { return quantity(share, ""); }

View strength_cells(const std::optional<analysis::StrengthAtShare>& at, const Results& results) {
  const std::string_view unit = results.header.rig.calibrated ? "m/s" : "";
  if (!at || !at->strength) {
    return {{"strike", "–"}, {"interval", at ? at->word : "–"}, {"energy", "–"}};
  }
  return {{"strike", strike_text(*at->strength, unit)},
          {"interval", strike_interval_text(at->profile, unit)},
          {"energy", energy_text(*at->strength, results.header.rig)}};
}

std::string rate_cell(const analysis::RateBesideStrength& rate) {
  return rate.is_in_curve ? fmt::format("{} (in the curve)", share_cell(rate.rate))
                          : fmt::format("at most {}", share_cell(rate.upper));
}

std::string goodness_cell(const StrengthResponse& response) {
  if (!response.goodness) return "–";
  return fmt::format("{:.1f} on {:.0f}, p = {:.2g}", response.goodness->chi_square,
                     response.goodness->degrees, response.goodness->p);
}

View dose_rows(const StrengthResponse& response, std::string_view unit) {
  View rows = View::array();
  for (const analysis::ShownDose& dose : response.shown) {
    const double share = static_cast<double>(dose.responded) / static_cast<double>(dose.trials);
    rows.push_back({{"strike", strike_text(dose.strength, unit)},
                    {"share", share_cell(share)},
                    {"interval", interval_text(dose.wilson, "")},
                    {"x", count(dose.responded)},
                    {"n", count(dose.trials)}});
  }
  return rows;
}

View curve_view(const Results& results, const analysis::DeviceResult& device,
                const StrengthCurve& curve, std::size_t index) {
  const StrengthResponse& response = curve.response;
  const bool fitted = response.basis != analysis::ResponseBasis::nothing;
  return {{"index", std::to_string(index)},
          {"device", device.name},
          {"rhythm", curve.rhythm},
          {"spot", results.spots.empty() ? View(false) : View(spot_name(results, curve.spot))},
          {"word", response.word},
          {"remarks", View(response.remarks)},
          {"recheck", curve.recheck ? View(curve.recheck->word) : View(false)},
          {"n", count(response.trials)},
          {"fitted", fitted},
          {"why_this_curve", or_nothing(response.why_this_curve)},
          {"s50", strength_cells(response.s50, results)},
          {"s95", strength_cells(response.s95, results)},
          {"spread", fitted ? share_cell(response.spread) : "–"},
          {"spread_interval", fitted ? interval_text(response.spread_interval, "") : "–"},
          {"lapse", fitted ? rate_cell(response.lapse) : "–"},
          {"guess", fitted ? rate_cell(response.guess) : "–"},
          {"goodness", goodness_cell(response)},
          {"doses", dose_rows(response, results.header.rig.calibrated ? "m/s" : "")}};
}

View curve_views(const Results& results) {
  View curves = View::array();
  for (const analysis::DeviceResult& device : results.devices) {
    for (const StrengthCurve& curve : device.curves) {
      curves.push_back(curve_view(results, device, curve, curves.size()));
    }
  }
  return curves;
}

View line_rows(const analysis::SurfaceSignal& signal) {
  View rows = View::array();
  for (const analysis::SurfaceLine& line : signal.lines) {
    rows.push_back({{"hz", fmt::format("{:.0f} Hz", line.hz)},
                    {"db", fmt::format("{:.1f} dB", line.db)},
                    {"taps", count(line.taps)}});
  }
  return rows;
}

View choice_rows(const ChannelSignal& channel) {
  View rows = View::array();
  for (const analysis::TriggerChoice& choice : channel.advice.tried) {
    const bool chosen =
        channel.advice.chosen && channel.advice.chosen->threshold == choice.threshold;
    rows.push_back({{"threshold", fmt::format("{:.0f}", choice.threshold)},
                    {"chosen", chosen},
                    {"missed", fmt::format("{} of {}", count(choice.missed), count(choice.knocks))},
                    {"miss_interval", interval_text(choice.miss_share, "")},
                    {"extra", fmt::format("{:.2f}", choice.extra_per_knock)},
                    {"false", fmt::format("{} in {}", count(choice.false_triggers),
                                          trimmed(choice.quiet_hours, 2) + " h")},
                    {"false_interval",
                     choice.false_per_hour ? interval_text(*choice.false_per_hour, "/h") : "–"}});
  }
  return rows;
}

View channel_view(const Results& results, const ChannelSignal& channel, std::size_t index) {
  const journal::ChannelFacts& facts = results.header.rig.channels[channel.channel];
  View spots = View::array();
  for (std::size_t i = 0; i < channel.spots.size(); ++i) {
    const SpotSignal& spot = channel.spots[i];
    spots.push_back(
        {{"channel_index", std::to_string(index)},
         {"spot_index", std::to_string(i)},
         {"spot", results.spots.empty() ? View(false) : View(spot_name(results, spot.spot))},
         {"sentences", View(signal_sentences(spot, facts.unit))},
         {"taps", count(spot.signal.taps)},
         {"resolution", fmt::format("{:.0f} Hz", spot.signal.resolution_hz)},
         {"lines", line_rows(spot.signal)}});
  }
  return {{"channel_index", std::to_string(index)},
          {"name", facts.name},
          {"unit", facts.unit},
          {"advice", advice_text(channel, facts.unit)},
          {"reasons", View(channel.advice.reasons)},
          {"wanted", fmt::format("{:.2f} m/s", channel.softest_m_s)},
          {"choices", choice_rows(channel)},
          {"spots", spots}};
}

/// Of one rhythm with one device: half heard at each spot.
View map_rows(const Results& results) {
  View rows = View::array();
  for (std::size_t device = 0; device < results.devices.size(); ++device) {
    for (const StrengthCurve& curve : results.devices[device].curves) {
      const auto mm = distance_mm(results, curve.spot, device);
      const auto& at = results.spots[curve.spot].at;
      const auto in_mm = [](std::int64_t um) { return trimmed(static_cast<double>(um) / 1e3, 0); };
      rows.push_back(
          {{"spot", spot_name(results, curve.spot)},
           {"device", results.devices[device].name},
           {"rhythm", curve.rhythm},
           {"place", at ? fmt::format("{}, {} mm", in_mm(at->x_um), in_mm(at->y_um)) : "–"},
           {"distance", mm ? fmt::format("{:.0f} mm", *mm) : "–"},
           {"s50", strength_cells(curve.response.s50, results)},
           {"word", curve.response.s50 ? View(false) : View(curve.response.word)}});
    }
  }
  return rows;
}

View curve_chart(const StrengthCurve& curve) {
  View points = View::array();
  for (const analysis::ShownDose& dose : curve.response.shown) {
    points.push_back(
        {plotted(std::exp(dose.strength)),
         plotted(static_cast<double>(dose.responded) / static_cast<double>(dose.trials)),
         plotted(dose.wilson.lower), plotted(dose.wilson.upper), dose.trials});
  }
  View band = View::array();
  for (const analysis::BandPoint& point : curve.response.curve) {
    band.push_back({plotted(std::exp(point.strength)), plotted(point.share), plotted(point.lower),
                    plotted(point.upper)});
  }
  const auto at = [](const std::optional<analysis::StrengthAtShare>& share) {
    return share && share->strength ? plotted(std::exp(*share->strength)) : View(nullptr);
  };
  return {{"points", points},
          {"band", band},
          {"s50", at(curve.response.s50)},
          {"s95", at(curve.response.s95)}};
}

View channel_chart(const Results& results, const ChannelSignal& channel) {
  View spots = View::array();
  for (const SpotSignal& spot : channel.spots) {
    constexpr double ms_per_s = 1e3;
    spots.push_back(
        {{"decay", plotted_pairs(spot.signal.decay_curve, ms_per_s)},
         {"noise", spot.signal.noise_rms ? plotted(spot.signal.noise_rms->median) : View(nullptr)},
         {"spectrum", plotted_pairs(spot.signal.spectrum, 1.0)},
         {"floor", plotted(spot.signal.spectrum_floor_db)}});
  }
  View tried = View::array();
  for (const analysis::TriggerChoice& choice : channel.advice.tried) {
    const double share = choice.knocks == 0 ? 0.0
                                            : static_cast<double>(choice.missed) /
                                                  static_cast<double>(choice.knocks);
    tried.push_back(
        {plotted(choice.threshold), plotted(share), plotted(choice.counted_per_hour())});
  }
  return {
      {"spots", spots},
      {"tried", tried},
      {"chosen", channel.advice.chosen ? plotted(channel.advice.chosen->threshold) : View(nullptr)},
      {"lockout_ms",
       channel.advice.lockout ? plotted(channel.advice.lockout->seconds * 1e3) : View(nullptr)},
      {"unit", results.header.rig.channels[channel.channel].unit}};
}

View map_chart(const Results& results) {
  View spots = View::array();
  for (std::uint32_t spot = 0; spot < results.spots.size(); ++spot) {
    const auto& at = results.spots[spot].at;
    if (!at) continue;
    View peak = nullptr;
    for (const ChannelSignal& channel : results.channels) {
      for (const SpotSignal& one : channel.spots) {
        if (one.spot == spot && one.signal.strength && peak.is_null()) {
          peak = plotted(one.signal.strength->peak_at(channel.softest_m_s));
        }
      }
    }
    spots.push_back({{"name", spot_name(results, spot)},
                     {"x", plotted(static_cast<double>(at->x_um) / 1e3)},
                     {"y", plotted(static_cast<double>(at->y_um) / 1e3)},
                     {"peak", peak}});
  }
  View sensors = View::array();
  for (const journal::DeviceFacts& device : results.header.rig.devices) {
    if (!device.at) continue;
    sensors.push_back({plotted(static_cast<double>(device.at->x_um) / 1e3),
                       plotted(static_cast<double>(device.at->y_um) / 1e3)});
  }
  return {{"spots", spots}, {"sensors", sensors}};
}

}  // namespace

View surface_view(const Results& results) {
  const View curves = curve_views(results);
  View channels = View::array();
  for (const ChannelSignal& channel : results.channels) {
    channels.push_back(channel_view(results, channel, channels.size()));
  }
  if (curves.empty() && channels.empty()) return false;
  const bool several = results.spots.size() > 1;
  return {{"curves", curves},
          {"any_curves", !curves.empty()},
          {"channels", channels},
          {"any_channels", !channels.empty()},
          {"many_devices", results.devices.size() > 1},
          {"several_spots", several},
          {"map_rows", several ? map_rows(results) : View::array()},
          {"map_sentences", View(map_sentences(results))}};
}

View surface_charts(const Results& results) {
  View curves = View::array();
  for (const analysis::DeviceResult& device : results.devices) {
    for (const StrengthCurve& curve : device.curves) curves.push_back(curve_chart(curve));
  }
  View channels = View::array();
  for (const ChannelSignal& channel : results.channels) {
    channels.push_back(channel_chart(results, channel));
  }
  return {{"curves", curves},
          {"channels", channels},
          {"map", map_chart(results)},
          {"strike_title",
           results.header.rig.calibrated ? "strike speed, m/s" : "drive (not calibrated)"}};
}

}  // namespace plexor::report
