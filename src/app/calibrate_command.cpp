#include <fmt/chrono.h>
#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <utility>

#include "app/arming.hpp"
#include "app/aside.hpp"
#include "app/commands.hpp"
#include "app/live_session.hpp"
#include "app/progress_bar.hpp"
#include "app/rig_loading.hpp"
#include "app/text_file.hpp"
#include "base/error.hpp"
#include "run/calibrating.hpp"
#include "run/file_replacement.hpp"

namespace plexor::app {

namespace {

namespace fs = std::filesystem;

struct CalibrateOptions {
  std::string rig;
  std::string out;
  double warm_to_c = 0.0;
  double supply_v = 0.0;
  int taps = 8;
  bool add = false;
  bool arm = false;
};

void check_rig(const CalibrateOptions& options, const rig::RigFile& rig) {
  const base::Place place{options.rig, 0, 0};
  if (!rig.wiring) {
    throw base::InputError(place, "a rig in virtual time", "a rig of kind \"lines\" to calibrate");
  }
  if (rig.contact.kind != rig::ContactKind::tip_switch) {
    throw base::InputError(place, "a rig without a tip switch",
                           "[contact] kind = \"tip-switch\": only that shows re-strikes",
                           "fit one for the calibration (rig/wiring.md)");
  }
  if (!rig.speed_gate) {
    throw base::InputError(place, "a rig without [speed_gate]",
                           "a light barrier that a flag on the plunger passes just before contact",
                           "fit one for the calibration (rig/wiring.md)");
  }
}

/// What is there already, where curves are added to it.
rig::Calibration kept(const CalibrateOptions& options) {
  if (fs::exists(options.out) != options.add) {
    throw base::InputError(
        options.out + (options.add ? ": found no file; expected a calibration to add a curve to"
                                   : ": is there already; choose another --out, or --add a curve "
                                     "to it"));
  }
  if (!options.add) return {};
  return rig::parse_calibration(read_text_file(options.out), options.out);
}

void show(const run::DriveLevel& level, const rig::SpeedGate& gate) {
  const auto point = run::point_of(level, gate);
  if (level.re_strikes()) {
    fmt::print("{:8.2f} ms  re-strikes: the calibration ends below\n", base::to_ms(level.on_time));
  } else if (!point) {
    const auto seen = std::count_if(level.taps.begin(), level.taps.end(),
                                    [&](const auto& tap) { return tap.strike_m_s(gate); });
    fmt::print("{:8.2f} ms  left out: {} of {} taps landed and passed the gate{}\n",
               base::to_ms(level.on_time), seen, level.taps.size(),
               static_cast<std::size_t>(seen) == level.taps.size() ? ", with uneven strikes" : "");
  } else {
    fmt::print("{:8.2f} ms  {:.3f} m/s (sd {:.3f})   {:.2f} ms (sd {:.2f})\n",
               base::to_ms(point->on_time), base::to_m_s(point->strike),
               point->repeatability.strike_sd_m_s, base::to_ms(point->transit),
               base::to_ms(point->repeatability.transit_sd));
  }
}

std::string today() {
  return fmt::format(
      "{:%Y-%m-%d}",
      fmt::localtime(std::chrono::system_clock::to_time_t(std::chrono::system_clock::now())));
}

/// Replaces a curve of the same conditions, else adds it.
void put(rig::Calibration& calibration, rig::CalibrationCurve curve) {
  auto& curves = calibration.curves;
  std::erase_if(curves, [&](const rig::CalibrationCurve& one) {
    return one.conditions.coil_mdegc == curve.conditions.coil_mdegc &&
           one.conditions.supply_mv == curve.conditions.supply_mv;
  });
  curves.push_back(std::move(curve));
}

class Calibration {
 public:
  Calibration(const CalibrateOptions& options, const rig::RigFile& rig, rig::Calibration known,
              LiveSession& session)
      : options_(options),
        rig_(rig),
        calibration_(std::move(known)),
        tapper_(rig, {session.rig(), session.rig(), session.rig()}, session.coil().past(),
                {.stop_requested = [&session] { return session.stop_requested(); },
                 .before_fire = [&session](const run::Fire& t) { session.before_fire(t); }}),
        calibrating_(rig, tapper_, {.taps_per_level = options.taps}, [this](double share) {
          if (bar_) bar_->show(share);
        }) {}

  /// False if it was stopped: then nothing is written.
  bool measure() {
    fmt::print("Looking for the drives that land once, from soft to hard.\n");
    std::fflush(stdout);
    const auto drives = calibrating_.find_drives();
    if (!drives || !take(*drives)) return false;
    if (options_.warm_to_c <= 0.0) return true;
    bar_.emplace("warming the coil by tapping");
    const bool warm = calibrating_.warm_to(options_.warm_to_c, drives->back());
    bar_.reset();
    return warm && take(*drives);
  }

  void write() {
    calibration_.date = today();
    const std::string text = to_toml(calibration_);
    (void)rig::parse_calibration(text, options_.out);  // what nobody could read must not be written
    run::replace_file(options_.out, text);
    fmt::print(
        "{}: {} curve(s), strikes from {:.3f} to {:.3f} m/s, transit repeats within {:.2f} ms "
        "(sd).\nName it in the rig file:\n\n[calibration]\nfile = \"{}\"\n",
        options_.out, calibration_.curves.size(), base::to_m_s(calibration_.slowest()),
        base::to_m_s(calibration_.fastest()), base::to_ms(calibration_.transit_sd), name_for_rig());
  }

 private:
  /// As the rig file must name it: by its own name beside it, else by its whole path.
  [[nodiscard]] std::string name_for_rig() const {
    const fs::path out = fs::weakly_canonical(options_.out);
    const bool beside = out.parent_path() == fs::weakly_canonical(options_.rig).parent_path();
    return beside ? out.filename().string() : out.string();
  }

  bool take(const std::vector<base::Duration>& drives) {
    bar_.emplace("measuring");
    const auto levels = calibrating_.measure(drives);
    bar_.reset();
    if (!levels) return false;
    fmt::print("   drive     strike speed           transit\n");
    for (const run::DriveLevel& level : *levels) show(level, *rig_.speed_gate);
    const double supply_v = options_.supply_v > 0.0 ? options_.supply_v : rig_.coil.supply_v;
    const auto curve = run::curve_of(*levels, *rig_.speed_gate, supply_v);
    if (!curve) {
      throw base::RigFault(
          "fewer than two drive levels landed each time, once, and past the speed gate: nothing "
          "is written; look at the taps above");
    }
    fmt::print("winding at {:.1f} degC, supply {:.2f} V\n",
               static_cast<double>(curve->conditions.coil_mdegc) / 1e3, supply_v);
    calibration_.transit_sd = std::max(calibration_.transit_sd, run::pooled_transit_sd(*curve));
    put(calibration_, *curve);
    return true;
  }

  const CalibrateOptions& options_;
  const rig::RigFile& rig_;
  rig::Calibration calibration_;
  run::HandTapper tapper_;
  std::optional<ProgressBar> bar_;
  run::Calibrating calibrating_;
};

ExitCode calibrate(const CalibrateOptions& options) {
  const LoadedRig loaded = load_rig(options.rig);
  check_rig(options, loaded.rig);
  rig::Calibration known = kept(options);
  LiveSession session(loaded.rig, loaded.file, {.by_hand = true});
  if (!session.arm(options.arm)) return ExitCode::undecided;
  Calibration calibration(options, loaded.rig, std::move(known), session);
  const bool whole = calibration.measure();
  session.end_in_order();
  if (!whole) {
    say_aside("Stopped; nothing was written.\n");
    return ExitCode::undecided;
  }
  calibration.write();
  return ExitCode::pass;
}

}  // namespace

CommandBody add_calibrate_command(CLI::App& parser) {
  const auto options = std::make_shared<CalibrateOptions>();
  parser.add_option("--rig", options->rig, "Rig file of kind \"lines\", with tip switch and gate")
      ->required();
  parser.add_option("--out", options->out, "Calibration file to write")->required();
  parser.add_flag("--add", options->add, "Add to the curves that the file has already");
  parser
      .add_option("--warm-to-c", options->warm_to_c,
                  "Measure a second curve with the winding tapped up to this temperature")
      ->check(CLI::Range(20.0, 150.0));
  parser
      .add_option("--supply-v", options->supply_v,
                  "What the supply is set to now, where it is not the rig file's")
      ->check(CLI::Range(1.0, 60.0));
  parser.add_option("--taps", options->taps, "Taps for each drive level")
      ->check(CLI::Range(2, 100))
      ->capture_default_str();
  parser.add_flag("--arm", options->arm, "Arm after a countdown of five seconds, not a key press");
  parser.footer(std::string("This moves the tapper some hundred times, from soft to hard.\n\n") +
                cautions +
                "\nExample: plexor calibrate --rig rig/simulate-oak.toml --out "
                "oak-calibration.toml");
  return [options] { return calibrate(*options); };
}

}  // namespace plexor::app
