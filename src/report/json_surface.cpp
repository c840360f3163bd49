#include "report/json_surface.hpp"

#include <cmath>
#include <string>

#include "report/json_values.hpp"
#include "report/surface_text.hpp"

namespace plexor::report {

namespace {

using Json = nlohmann::ordered_json;
using analysis::Interval;

Json ends(const Interval& interval) {
  return {{"lower", number(interval.lower)}, {"upper", number(interval.upper)}};
}

/// Ends in ln units as strikes: 0, or null, without a bound.
Json strike_ends(const Interval& interval) {
  return {{"lower", number(std::exp(interval.lower))}, {"upper", number(std::exp(interval.upper))}};
}

Json at_share(const std::optional<analysis::StrengthAtShare>& value) {
  if (!value) return nullptr;
  return {{"strike", value->strength ? number(std::exp(*value->strength)) : Json(nullptr)},
          {"interval", strike_ends(value->profile)},
          {"extrapolated", value->is_extrapolated},
          {"word", value->word}};
}

Json rate(const analysis::RateBesideStrength& value) {
  return {{"in_curve", value.is_in_curve},
          {"rate", number(value.rate)},
          {"at_most", number(value.upper)},
          {"p", number(value.p)}};
}

std::string_view to_text(analysis::ResponseBasis basis) {
  switch (basis) {
    case analysis::ResponseBasis::nothing: return "nothing";
    case analysis::ResponseBasis::likelihood: return "likelihood";
    case analysis::ResponseBasis::penalised: return "penalised";
  }
  return "nothing";
}

Json recheck(const std::optional<analysis::Recheck>& value) {
  if (!value) return nullptr;
  return {{"trials", value->trials},         {"heard", value->heard},
          {"change", number(value->change)}, {"interval", ends(value->interval)},
          {"shown", value->is_shown},        {"word", value->word}};
}

Json shown_doses(const analysis::StrengthResponse& response) {
  Json list = Json::array();
  for (const analysis::ShownDose& dose : response.shown) {
    list.push_back({{"strike", number(std::exp(dose.strength))},
                    {"x", dose.responded},
                    {"n", dose.trials},
                    {"wilson", ends(dose.wilson)}});
  }
  return list;
}

Json fitted(const analysis::StrengthResponse& response) {
  if (response.basis == analysis::ResponseBasis::nothing) return nullptr;
  Json goodness = nullptr;
  if (response.goodness) {
    goodness = {{"chi_square", number(response.goodness->chi_square)},
                {"degrees", number(response.goodness->degrees)},
                {"p", number(response.goodness->p)}};
  }
  Json band = Json::array();
  for (const analysis::BandPoint& point : response.curve) {
    band.push_back({number(std::exp(point.strength)), number(point.share), number(point.lower),
                    number(point.upper)});
  }
  return {{"link", response.link == analysis::Link::probit ? "probit" : "logit"},
          {"s50", at_share(response.s50)},
          {"s95", at_share(response.s95)},
          {"spread", number(response.spread)},
          {"spread_interval", ends(response.spread_interval)},
          {"guess", rate(response.guess)},
          {"lapse", rate(response.lapse)},
          {"goodness", goodness},
          {"heterogeneity", number(response.heterogeneity)},
          {"curve", band}};
}

Json middle(const std::optional<analysis::MiddleOf>& value) {
  if (!value) return nullptr;
  return {
      {"median", number(value->median)}, {"interval", ends(value->interval)}, {"n", value->taps}};
}

Json pairs(const std::vector<std::pair<double, double>>& points) {
  Json list = Json::array();
  for (const auto& [x, y] : points) list.push_back({number(x), number(y)});
  return list;
}

Json spot_signal(const analysis::Results& results, const analysis::SpotSignal& spot) {
  const analysis::SurfaceSignal& signal = spot.signal;
  Json lines = Json::array();
  for (const analysis::SurfaceLine& line : signal.lines) {
    lines.push_back({{"hz", number(line.hz)}, {"db", number(line.db)}, {"taps", line.taps}});
  }
  Json ring_down = Json::array();
  for (const analysis::RingDownQuantile& one : signal.ring_down) {
    ring_down.push_back({{"p", number(one.p)},
                         {"s", optional_number(one.seconds)},
                         {"interval", ends(one.interval)}});
  }
  Json power = nullptr;
  if (signal.strength) {
    power = {{"exponent", number(signal.strength->line.slope)},
             {"interval", ends(signal.strength->slope_interval)}};
  }
  Json change = nullptr;
  if (spot.change) {
    change = {{"change", number(spot.change->change)},
              {"interval", ends(spot.change->interval)},
              {"taps", spot.change->taps}};
  }
  return {{"spot", spot_name(results, spot.spot)},
          {"taps", signal.taps},
          {"clipped", signal.clipped},
          {"noise_rms", middle(signal.noise_rms)},
          {"peak", middle(signal.peak_codes)},
          {"peak_against_strike", power},
          {"peaks_upwards", signal.upwards},
          {"snr_db", middle(signal.snr_db)},
          {"lines", lines},
          {"resolution_hz", number(signal.resolution_hz)},
          {"time_constant_s", middle(signal.time_constant_s)},
          {"loss_factor", middle(signal.loss_factor)},
          {"t60_s", middle(signal.t60_s)},
          {"ring_down", ring_down},
          {"change", change},
          {"spectrum_db", pairs(signal.spectrum)},
          {"decay", pairs(signal.decay_curve)}};
}

Json choice(const analysis::TriggerChoice& value) {
  return {{"threshold", number(value.threshold)},
          {"lockout_s", number(value.lockout_s)},
          {"missed", value.missed},
          {"knocks", value.knocks},
          {"miss_share", ends(value.miss_share)},
          {"extra_per_knock", number(value.extra_per_knock)},
          {"false_triggers", value.false_triggers},
          {"quiet_h", number(value.quiet_hours)},
          {"false_per_hour", value.false_per_hour ? ends(*value.false_per_hour) : Json(nullptr)}};
}

Json advice(const analysis::ChannelSignal& channel) {
  const analysis::TriggerAdvice& value = channel.advice;
  Json lockout = nullptr;
  if (value.lockout) {
    lockout = {{"s", number(value.lockout->seconds)},
               {"share", number(value.lockout->share)},
               {"knocks", value.lockout->knocks},
               {"shortest_interval_s", number(value.lockout->shortest_interval_s)}};
  }
  Json tried = Json::array();
  for (const analysis::TriggerChoice& one : value.tried) tried.push_back(choice(one));
  return {{"wanted_from_m_s", number(channel.softest_m_s)},
          {"false_per_hour_at_most", number(channel.most_false_per_hour)},
          {"chosen", value.chosen ? choice(*value.chosen) : Json(nullptr)},
          {"why_none", text_or_null(value.why_none)},
          {"lockout", lockout},
          {"no_lockout", text_or_null(value.lockout.why_not)},
          {"reasons", value.reasons},
          {"tried", tried}};
}

}  // namespace

Json curves_json(const analysis::Results& results, const analysis::DeviceResult& device) {
  Json list = Json::array();
  for (const analysis::StrengthCurve& curve : device.curves) {
    const analysis::StrengthResponse& response = curve.response;
    list.push_back({{"rhythm", curve.rhythm},
                    {"spot", spot_name(results, curve.spot)},
                    {"unit", results.header.rig.calibrated ? "m/s" : "drive"},
                    {"basis", to_text(response.basis)},
                    {"word", response.word},
                    {"remarks", response.remarks},
                    {"x", response.responded},
                    {"n", response.trials},
                    {"fit", fitted(response)},
                    {"recheck", recheck(curve.recheck)},
                    {"doses", shown_doses(response)}});
  }
  return list;
}

Json channels_json(const analysis::Results& results) {
  Json list = Json::array();
  for (const analysis::ChannelSignal& channel : results.channels) {
    const journal::ChannelFacts& facts = results.header.rig.channels[channel.channel];
    Json spots = Json::array();
    for (const analysis::SpotSignal& spot : channel.spots) {
      spots.push_back(spot_signal(results, spot));
    }
    list.push_back({{"name", facts.name},
                    {"unit", facts.unit},
                    {"rate_hz", facts.rate_hz},
                    {"trials", channel.trials_looked_at},
                    {"spots", spots},
                    {"advice", advice(channel)}});
  }
  return list;
}

}  // namespace plexor::report
