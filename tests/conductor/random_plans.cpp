#include "conductor/random_plans.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <vector>

namespace plexor::run {

namespace {

struct Point {
  double on_ms = 0.0;
  double strike_m_s = 0.0;
  double transit_ms = 0.0;
};

struct Tapper {
  std::vector<Point> points;
  double min_rest_ms = 0.0;
  double max_pulse_ms = 0.0;
  bool senses_contact = true;

  /// Contacts this far apart leave the coil its rest, whatever the two strikes.
  [[nodiscard]] double least_interval_ms() const {
    const auto by_transit = [](const Point& a, const Point& b) {
      return a.transit_ms < b.transit_ms;
    };
    const auto [low, high] = std::minmax_element(points.begin(), points.end(), by_transit);
    return points.back().on_ms + min_rest_ms + high->transit_ms - low->transit_ms;
  }
};

/// What a plan roughly asks of the coil.
struct Load {
  double on_s = 0.0;
  double length_s = 0.0;
};

double draw_rest_ms(PlanDraws& draws) {
  if (draws.chance(15)) return draws.real(8.0, 20.0);
  return draws.chance(20) ? draws.real(100.0, 1200.0) : draws.real(20.0, 60.0);
}

/// The contact comes before the next pulse can begin, and at most 75 ms before its own ends.
double draw_transit_ms(PlanDraws& draws, const Tapper& tapper, double on_ms) {
  const Point& first = tapper.points.front();
  const double change_ms = draws.real(-4.0, draws.chance(15) ? 4.0 : 0.0);
  const double near_ms = tapper.points.back().transit_ms + change_ms;
  return std::min(std::max(near_ms, 0.5 * on_ms), first.on_ms + tapper.min_rest_ms - 1.0);
}

void draw_points(PlanDraws& draws, Tapper& tapper) {
  Point point{draws.real(4.0, 15.0), draws.real(0.2, 0.6)};
  point.transit_ms = point.on_ms + draws.real(1.0, std::min(tapper.min_rest_ms - 2.0, 15.0));
  tapper.points.push_back(point);
  for (std::int64_t more = draws.whole(1, 3); more > 0; --more) {
    point.on_ms += draws.real(0.5, draws.chance(10) ? 40.0 : 5.0);
    point.strike_m_s += draws.real(0.1, 0.6);
    point.transit_ms = draw_transit_ms(draws, tapper, point.on_ms);
    tapper.points.push_back(point);
  }
}

Tapper draw_tapper(PlanDraws& draws) {
  Tapper tapper;
  tapper.min_rest_ms = draw_rest_ms(draws);
  draw_points(draws, tapper);
  const double longest_ms = tapper.points.back().on_ms;
  const bool too_short = draws.chance(6);
  tapper.max_pulse_ms = too_short ? draws.real(tapper.points.front().on_ms, longest_ms)
                                  : longest_ms + draws.real(0.001, 20.0);
  tapper.senses_contact = draws.chance(85);
  return tapper;
}

struct Jitter {
  std::string text;
  double cv = 0.0;        ///< an interval shrinks by this share at the most
  double reach_ms = 0.0;  ///< and by this
};

Jitter draw_jitter(PlanDraws& draws) {
  const double ms = draws.real(0.1, 4.0);
  const double cv = draws.real(0.0, 0.06);
  switch (draws.whole(0, 4)) {
    case 0:
      return {fmt::format("[jitter]\nmodel = \"uniform\"\nspread_ms = {}\n", ms), 0.0, 2 * ms};
    case 1: return {fmt::format("[jitter]\nmodel = \"normal\"\nsd_ms = {}\n", ms), 0.0, 6 * ms};
    case 2:
      return {fmt::format("[jitter]\nmodel = \"human\"\ntempo_cv = {}\nmotor_sd_ms = {}\n", cv, ms),
              3 * cv, 6 * ms};
    default: return {};
  }
}

class ScenarioText {
 public:
  ScenarioText(PlanDraws& draws, const Tapper& tapper)
      : draws_(draws), tapper_(tapper), jitter_(draw_jitter(draws)) {}

  std::string write() {
    text_ = fmt::format(
        "[scenario]\nname = \"random\"\npurpose = \"regression\"\nseed = {}\norder = \"{}\"\n",
        draws_.whole(0, 1'000'000), draws_.chance(50) ? "in-order" : "interleaved");
    const std::int64_t rhythms = draws_.whole(1, 3);
    for (std::int64_t i = 0; i < rhythms; ++i) write_rhythm(i);
    text_ += jitter_.text;
    for (std::int64_t i = 0; i < rhythms; ++i) write_block(i);
    if (draws_.chance(25)) write_quiet();
    if (draws_.chance(25) && (tapper_.senses_contact || draws_.chance(5))) write_reference();
    return text_;
  }

  [[nodiscard]] Load load() const { return load_; }

 private:
  void write_rhythm(std::int64_t number) {
    const std::int64_t taps = draws_.chance(5) ? draws_.whole(6, 12) : draws_.whole(1, 5);
    std::string contacts = "0";
    double at_ms = 0.0;
    for (std::int64_t k = 1; k < taps; ++k) {
      at_ms += draw_interval_ms();
      contacts += fmt::format(", {:.6f}", at_ms);
    }
    lengths_ms_.push_back(at_ms);
    taps_.push_back(taps);
    text_ += fmt::format("[rhythm.r{}]\ncontacts_ms = [{}]\n", number, contacts);
  }

  double draw_interval_ms() {
    const double slack_ms = draws_.chance(2) ? draws_.real(-8.0, 0.0)
                                             : draws_.real(0.001, draws_.chance(20) ? 5.0 : 200.0);
    return (tapper_.least_interval_ms() + jitter_.reach_ms + slack_ms) / (1.0 - jitter_.cv);
  }

  void write_block(std::int64_t rhythm) {
    const auto index = static_cast<std::size_t>(rhythm);
    const std::int64_t trials = draws_.whole(2, draws_.chance(10) ? 60 : 20);
    const double window_ms = draws_.real(200.0, 800.0);
    const double gap_ms = window_ms + draws_.real(0.0, 900.0);
    const double more_ms = draws_.chance(50) ? draws_.real(0.0, 1000.0) : 0.0;
    text_ += fmt::format(
        "[[block]]\nrhythm = \"r{}\"\ntrials = {}\nstrike_m_s = {}\nwindow_ms = {:.6f}\n"
        "gap_ms = [{:.6f}, {:.6f}]\n",
        rhythm, trials, strike(), window_ms, gap_ms, gap_ms + more_ms);
    const double stride_ms = lengths_ms_[index] + gap_ms + more_ms / 2.0;
    add_load(static_cast<double>(trials * taps_[index]), static_cast<double>(trials) * stride_ms);
  }

  std::string strike() {
    const double low = tapper_.points.front().strike_m_s;
    const double high = tapper_.points.back().strike_m_s;
    const double speed = draws_.real(low, high) * (draws_.chance(1) ? 1.5 : 1.0);
    const double other = draws_.real(low, high);
    switch (draws_.whole(0, 4)) {
      case 0: return fmt::format("[{:.6f}, {:.6f}]", speed, other);
      case 1: return fmt::format("{{ from = {:.6f}, to = {:.6f} }}", speed, other);
      case 2: {
        const double cv = std::min({0.1, (1.0 - low / other) / 3.0, (high / other - 1.0) / 3.0});
        return fmt::format("{{ mean = {:.6f}, cv = {:.6f} }}", other, std::max(0.0, 0.99 * cv));
      }
      default: return fmt::format("{:.6f}", speed);
    }
  }

  void write_quiet() {
    const std::int64_t quiet_s = draws_.whole(1, 40);
    text_ += fmt::format("[[block]]\nquiet_s = {}\nstretch_s = {}\n", quiet_s, draws_.whole(1, 30));
    load_.length_s += static_cast<double>(quiet_s);
  }

  void write_reference() {
    const double strike =
        draws_.real(tapper_.points.front().strike_m_s, tapper_.points.back().strike_m_s);
    const double spacing_ms =
        std::max(200.0, tapper_.least_interval_ms()) + draws_.real(0.0, 400.0);
    text_ += fmt::format(
        "[reference]\nevery_trials = {}\ntaps = {}\nstrike_m_s = {:.6f}\nspacing_ms = {:.6f}\n"
        "transit_tolerance_ms = 100\n",
        draws_.whole(3, 20), draws_.whole(1, 4), strike, spacing_ms);
  }

  void add_load(double taps, double length_ms) {
    const double mean_on_ms = (tapper_.points.front().on_ms + tapper_.points.back().on_ms) / 2.0;
    load_.on_s += taps * mean_on_ms * 1e-3;
    load_.length_s += length_ms * 1e-3;
  }

  PlanDraws& draws_;
  const Tapper& tapper_;
  Jitter jitter_;
  std::string text_;
  std::vector<double> lengths_ms_;
  std::vector<std::int64_t> taps_;
  Load load_;
};

struct Coil {
  double supply_v = 0.0;
  double resistance_ohm = 0.0;
  double winding_j_k = 0.0;
  double body_j_k = 0.0;
  double winding_to_body_k_w = 0.0;
  double body_to_air_k_w = 0.0;
  double ambient_c = 0.0;

  /// One figure for both nodes: good enough to draw a limit about.
  [[nodiscard]] double rough_rise_k(const Load& load) const {
    const double joule = load.on_s * supply_v * supply_v / resistance_ohm;
    const double settled = 1.0 - std::exp(-load.length_s / (winding_to_body_k_w * winding_j_k));
    return joule / load.length_s * winding_to_body_k_w * settled + joule / (body_j_k + winding_j_k);
  }
};

Coil draw_coil(PlanDraws& draws) {
  Coil coil{.supply_v = draws.real(6.0, 30.0),
            .resistance_ohm = draws.real(5.0, 40.0),
            .winding_j_k = draws.real(2.0, 10.0),
            .body_j_k = draws.real(20.0, 80.0),
            .winding_to_body_k_w = draws.real(1.0, 6.0),
            .body_to_air_k_w = draws.real(5.0, 25.0),
            .ambient_c = draws.real(5.0, 35.0)};
  if (draws.chance(15)) {
    coil.winding_j_k = draws.real(0.1, 1.0);
    coil.winding_to_body_k_w = draws.real(5.0, 40.0);
  }
  return coil;
}

std::string duty_limits(PlanDraws& draws, const Tapper& tapper, const Load& load) {
  const double span_s = draws.chance(30) ? draws.real(2.0, 20.0) : draws.real(60.0, 300.0);
  double percent = draws.real(25.0, 40.0);
  double on_s = span_s * draws.real(0.25, 0.4);
  if (draws.chance(35)) {
    const double least_s = tapper.max_pulse_ms * 1.001e-3;
    const double asked_s = load.on_s * std::min(1.0, span_s / load.length_s);
    const double allowed_s = std::max(least_s, asked_s * draws.real(0.4, 1.8));
    if (draws.chance(50)) {
      on_s = std::min(on_s, allowed_s);
    } else {
      percent = std::min(percent, 100.0 * allowed_s / span_s);
    }
  }
  // The parser takes no less than 0.01 %.
  return fmt::format("duty_span_s = {:.9f}\nduty_percent = {}\nmax_on_in_span_s = {:.9f}\n", span_s,
                     std::max(0.01, percent), on_s);
}

std::string coil_limits(PlanDraws& draws, const Coil& coil, const Load& load) {
  const double margin_k = draws.chance(20) ? 0.0 : draws.real(0.0, 20.0);
  double limit_c = 120.0 - margin_k;
  if (draws.chance(35)) {
    limit_c = std::min(limit_c, coil.ambient_c + coil.rough_rise_k(load) * draws.real(0.4, 2.0));
  }
  return fmt::format("max_coil_c = {}\ncoil_margin_k = {}\n", std::min(120.0, limit_c + margin_k),
                     margin_k);
}

std::string energy_limit(PlanDraws& draws, const Tapper& tapper, double mass_g) {
  const double m_s = tapper.points.back().strike_m_s;
  const double hardest_mj = mass_g * m_s * m_s / 2.0;
  const double factor = draws.chance(6) ? draws.real(0.3, 1.0) : draws.real(1.05, 2.0);
  return fmt::format("max_energy_mj = {}\n", std::min(hardest_mj * factor, 500.0));
}

std::string tapper_tables(PlanDraws& draws, const Tapper& tapper, const Coil& coil,
                          const Load& load) {
  const double mass_g = draws.real(5.0, 40.0);
  return fmt::format(
             "[tapper]\nmoving_mass_g = {}\ntip_diameter_mm = 10\nseated_force_n = 20\n"
             "[tapper.coil]\nsupply_v = {}\nresistance_ohm = {}\nwinding_j_k = {}\nbody_j_k = {}\n"
             "winding_to_body_k_w = {}\nbody_to_air_k_w = {}\nambient_c = {}\n"
             "[tapper.limits]\nmax_pulse_ms = {:.6f}\nmin_rest_ms = {:.6f}\n"
             "max_tip_pressure_n_cm2 = 50\n",
             mass_g, coil.supply_v, coil.resistance_ohm, coil.winding_j_k, coil.body_j_k,
             coil.winding_to_body_k_w, coil.body_to_air_k_w, coil.ambient_c, tapper.max_pulse_ms,
             tapper.min_rest_ms) +
         duty_limits(draws, tapper, load) + coil_limits(draws, coil, load) +
         energy_limit(draws, tapper, mass_g);
}

std::string rig_text_of(PlanDraws& draws, const Tapper& tapper, const Load& load) {
  const Coil coil = draw_coil(draws);
  std::string text =
      "[rig]\nname = \"random\"\nkind = \"simulated\"\n"
      "[setting]\nsurface = \"oak\"\nspot = \"A1\"\nmounting = \"taped\"\n" +
      tapper_tables(draws, tapper, coil, load) +
      fmt::format(
          "[contact]\nkind = \"{}\"\n[calibration]\ndate = \"2026-06-01\"\n"
          "transit_sd_ms = 0.15\n[[calibration.curve]]\ncoil_c = 23\nsupply_v = {}\npoints = [\n",
          tapper.senses_contact ? "tip-switch" : "none", coil.supply_v);
  for (const Point& point : tapper.points) {
    text += fmt::format("{{ on_ms = {:.6f}, strike_m_s = {:.6f}, transit_ms = {:.6f} }},\n",
                        point.on_ms, point.strike_m_s, point.transit_ms);
  }
  return text + "]\n[[device]]\nname = \"panel\"\nversion = \"1\"\n";
}

}  // namespace

PlanTexts random_plan(int number) {
  PlanDraws draws(number);
  const Tapper tapper = draw_tapper(draws);
  ScenarioText scenario(draws, tapper);
  const std::string text = scenario.write();
  return {text, rig_text_of(draws, tapper, scenario.load())};
}

Script random_mishaps(int number) {
  constexpr int pulses = 1500;
  PlanDraws draws(number, 2030);
  Script script;
  for (int at = 0; at < pulses; at += static_cast<int>(draws.whole(1, 20))) {
    switch (draws.whole(0, 3)) {
      case 0: script.no_contact.insert(at); break;
      case 1: script.not_given.insert(at); break;
      default: script.second_contact.insert(at); break;
    }
  }
  if (draws.chance(20)) {
    script.listener_down_at = base::segment_start + std::chrono::seconds{draws.whole(1, 30)};
    script.noticed_after = std::chrono::seconds{draws.whole(0, 12)};
    script.listener_up_at =
        *script.listener_down_at + script.noticed_after + std::chrono::seconds{draws.whole(1, 3)};
  }
  return script;
}

}  // namespace plexor::run
