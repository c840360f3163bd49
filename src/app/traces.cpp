#include "app/traces.hpp"

#include <fmt/format.h>

#include <cmath>

#include "app/rig_loading.hpp"
#include "app/text_file.hpp"
#include "base/error.hpp"
#include "report/traces_page.hpp"
#include "run/file_replacement.hpp"
#include "virtual/one_tap.hpp"
#include "virtual/physics/impact.hpp"

namespace plexor::app {

namespace {

using virtual_rig::OneTap;
using virtual_rig::TraceSample;

/// A part of a curve, in milliseconds; times since `zero_s`.
struct Shown {
  double from_ms = 0.0;
  double until_ms = 0.0;
  double zero_s = 0.0;
};

report::Trace trace_of(const std::string& name, const std::string& unit,
                       const std::vector<TraceSample>& samples, const Shown& shown,
                       double scale = 1.0) {
  report::Trace trace{name, unit, {}};
  for (const TraceSample& sample : samples) {
    const double ms = (sample.time_s - shown.zero_s) * 1e3;
    if (ms >= shown.from_ms && ms <= shown.until_ms) {
      trace.points.emplace_back(ms, sample.value * scale);
    }
  }
  return trace;
}

/// Two digits, as many as the model is good for.
std::string rough(double value) {
  const double step = value >= 100.0 ? 10.0 : 1.0;
  return fmt::format("{:.0f}", std::round(value / step) * step);
}

std::string modes_text(const OneTap& tap) {
  std::string text;
  for (const double hz : tap.lowest_modes_hz) {
    text += (text.empty() ? "" : ", ") + rough(hz);
  }
  return text + " Hz";
}

std::vector<std::pair<std::string, std::string>> figures_of(const OneTap& tap) {
  const double energy_mj = tap.energy_j * 1e3;
  return {
      {"Pulse", fmt::format("{:.1f} ms", base::to_ms(tap.on_time))},
      {"Contact after", fmt::format("{:.1f} ms", tap.contact_s * 1e3)},
      {"Strike", fmt::format("{:.2f} m/s", tap.strike_m_s)},
      {"Energy", fmt::format("{:.1f} mJ ({})", energy_mj, physics::ik_class(tap.energy_j))},
      {"Peak force", rough(tap.peak_force_n) + " N"},
      {"Contact lasts", fmt::format("{:.2f} ms", tap.contact_time_s * 1e3)},
      {"Restitution", fmt::format("{:.2f}", tap.restitution)},
      {"Back-stop click",
       tap.click_s ? fmt::format("{:.0f} ms later", (*tap.click_s - tap.contact_s) * 1e3) : "none"},
      {"Lowest modes", modes_text(tap)},
      {"Peak at the pin", rough(tap.peak_pin_mv) + " mV"},
      {"Rings above a tenth for", rough(tap.ring_down_s * 1e3) + " ms"},
  };
}

report::TracedTap traced(const rig::RigFile& rig, const OneTap& tap) {
  const Shown stroke{0.0, 60.0};
  const Shown contact{-0.1, 2.0, tap.contact_s};
  const Shown ringing{-2.0, 28.0, tap.contact_s};
  const Shown rung_down{-20.0, 100.0, tap.contact_s};
  const std::string since = "since contact";
  return {
      .surface = rig.setting.surface,
      .rig = rig.name,
      .figures = figures_of(tap),
      .plots = {
          {"Coil and plunger",
           fmt::format("The pulse ends after {:.1f} ms, and the current falls through the diode; "
                       "the tip touches the surface after {:.1f} ms.",
                       base::to_ms(tap.on_time), tap.contact_s * 1e3),
           "since switching on",
           {trace_of("current", "A", tap.current_a, stroke),
            trace_of("plunger", "mm", tap.plunger_m, stroke, 1e3)}},
          {"Force on the surface",
           tap.contacts == 1
               ? fmt::format("One contact of {:.2f} ms.", tap.contact_time_s * 1e3)
               : fmt::format("The first of {} contacts: the pulse is too long, and the plunger "
                             "strikes again.",
                             tap.contacts),
           since,
           {trace_of("force", "N", tap.force_n, contact)}},
          {"Disc voltage at the converter's pin",
           "Relative to half the supply, after bleed and clamp: no net charge passes, so the "
           "signal swings both ways.",
           since,
           {trace_of("voltage", "mV", tap.pin_mv, ringing)}},
          {"Codes of the converter",
           "With the noise of one device, at its sampling rate, until the surface has rung down.",
           since,
           {trace_of("code", "LSB", tap.codes, rung_down)}},
      }};
}

report::TracedTap tap_on(const std::string& rig_file, base::StrikeSpeed strike) {
  const LoadedRig loaded = load_rig(rig_file);
  const rig::RigFile& rig = loaded.rig;
  const auto simulation = virtual_rig::parse_simulation(loaded.text, rig_file, rig);
  if (strike < rig.calibration->slowest() || rig.calibration->fastest() < strike) {
    throw base::InputError(
        {rig_file, 0, 0}, fmt::format("no calibration at {:.2f} m/s", base::to_m_s(strike)),
        "a rig that can strike as fast as the scenario's first tap", "choose another rig");
  }
  const auto tap = virtual_rig::one_tap(rig, simulation, strike);
  if (!simulation.sensor) {
    throw base::InputError({rig_file, 0, 0}, "devices without a simulated sensor",
                           "a device of model \"firmware\", which listens to one");
  }
  if (!tap) {
    throw base::InputError({rig_file, 0, 0}, "a cold coil with which the tip does not land",
                           "a pulse that lands", "check ambient_c against the calibration");
  }
  return traced(rig, *tap);
}

}  // namespace

void write_traces_page(const std::filesystem::path& page, base::StrikeSpeed strike,
                       const std::vector<std::string>& rig_files) {
  check_page(page, "--traces");
  std::vector<report::TracedTap> taps;
  taps.reserve(rig_files.size());
  for (const std::string& rig_file : rig_files) taps.push_back(tap_on(rig_file, strike));
  const std::string title = fmt::format("One tap, {:.2f} m/s asked for", base::to_m_s(strike));
  run::replace_file(page, report::traces_page(title, taps));
}

}  // namespace plexor::app
