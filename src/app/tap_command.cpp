#include <fmt/format.h>

#include <cstdio>
#include <memory>
#include <string>

#include "app/arming.hpp"
#include "app/commands.hpp"
#include "app/live_session.hpp"
#include "app/rig_loading.hpp"
#include "base/error.hpp"
#include "base/toml_reader.hpp"
#include "run/aim.hpp"
#include "run/hand_taps.hpp"
#include "safety/limits.hpp"

namespace plexor::app {

namespace {

struct TapOptions {
  std::string rig;
  double strike_m_s = 0.0;
  double on_ms = 0.0;
  int count = 1;
  int every_ms = 1000;
  bool arm = false;
  bool lifted = false;
};

/// The drive that the options ask for, at the coil's temperature of now.
base::Duration drive_of(const TapOptions& options, const rig::RigFile& rig, double winding_c) {
  if (options.on_ms > 0.0) {
    return std::chrono::duration_cast<base::Duration>(
        std::chrono::duration<double, std::milli>(options.on_ms));
  }
  if (!rig.calibration) {
    throw base::InputError("tap: this rig has no calibration; give --on-ms instead of a speed");
  }
  const base::StrikeSpeed strike = base::strike_speed_from_m_s(options.strike_m_s);
  if (const auto refusal = safety::check_strike(rig.limits, strike)) {
    throw base::InputError("tap: " + refusal->reason);
  }
  return run::Aim(rig).drive(strike, winding_c).on_time;
}

std::string strike_text(const run::HandTap& tap, const rig::RigFile& rig) {
  if (!rig.speed_gate) return "";
  const auto strike_m_s = tap.strike_m_s(*rig.speed_gate);
  return strike_m_s ? fmt::format(", {:.3f} m/s", *strike_m_s) : ", not seen by the speed gate";
}

std::string contact_text(const run::HandTap& tap, const rig::RigFile& rig) {
  if (!rig.contact.is_sensed()) return "contact not sensed";
  const auto transit = tap.transit();
  if (!transit) return "no contact";
  return fmt::format("contact after {:.2f} ms{}{}", base::to_ms(*transit), strike_text(tap, rig),
                     tap.contacts.size() > 1
                         ? fmt::format(", {} contacts: it re-strikes", tap.contacts.size())
                         : "");
}

void show(int number, const run::HandTap& tap, const rig::RigFile& rig) {
  fmt::print("tap {}: on for {:.2f} ms, {}; winding {:.1f} degC\n", number,
             base::to_ms(tap.actual.on_time), contact_text(tap, rig), tap.winding_c);
  for (const base::Event& event : tap.heard) {
    const std::string since = tap.contacts.empty()
                                  ? ""
                                  : fmt::format(", {:.1f} ms after contact",
                                                base::to_ms(event.arrival - tap.contacts.front()));
    fmt::print("  {} reports \"{}\"{}\n", rig.devices[event.device].name, event.name, since);
  }
  std::fflush(stdout);
}

ExitCode tap(const TapOptions& options) {
  const LoadedRig loaded = load_rig(options.rig);
  if (!loaded.rig.wiring) {
    throw base::InputError(options.rig + ": a rig in virtual time has no tapper to try by hand");
  }
  (void)drive_of(options, loaded.rig, loaded.rig.coil.ambient_c);  // refuses before anything moves
  LiveSession session(loaded.rig, loaded.file, {.lifted = options.lifted, .by_hand = true});
  if (!session.arm(options.arm)) return ExitCode::undecided;
  run::LiveRig& rig = session.rig();
  run::HandTapper tapper(
      loaded.rig, {rig, rig, rig}, session.coil().past(),
      {.stop_requested = [&session] { return session.stop_requested(); },
       .before_fire = [&session](const run::Fire& trial) { session.before_fire(trial); }});
  for (int number = 1; number <= options.count; ++number) {
    const auto tap = tapper.tap(drive_of(options, loaded.rig, tapper.winding_c()),
                                std::chrono::milliseconds{options.every_ms});
    if (!tap) break;
    show(number, *tap, loaded.rig);
  }
  session.end_in_order();
  return session.stop_requested() ? ExitCode::undecided : ExitCode::pass;
}

}  // namespace

CommandBody add_tap_command(CLI::App& parser) {
  const auto options = std::make_shared<TapOptions>();
  parser.add_option("--rig", options->rig, "Rig file of kind \"lines\"")->required();
  auto* how = parser.add_option_group("strike");
  how->add_option("--strike-m-s", options->strike_m_s, "Strike speed, by the calibration")
      ->check(CLI::Range(0.01, 20.0));
  how->add_option("--on-ms", options->on_ms,
                  "Drive: how long the coil is energised; what it strikes with is then unknown")
      ->check(CLI::Range(0.1, 1000.0));
  how->require_option(1);
  parser.add_option("--count", options->count, "How many taps")
      ->check(CLI::Range(1, 1000))
      ->capture_default_str();
  parser.add_option("--every-ms", options->every_ms, "Time from one to the next, about")
      ->check(CLI::Range(100, 60'000))
      ->capture_default_str();
  parser.add_flag("--lifted", options->lifted, "The tapper stands clear of the surface");
  parser.add_flag("--arm", options->arm, "Arm after a countdown of five seconds, not a key press");
  parser.footer(std::string("This moves the tapper.\n\n") + cautions +
                "\nExample: plexor tap --rig rig/simulate-oak.toml --strike-m-s 0.8 --count 3");
  return [options] { return tap(*options); };
}

}  // namespace plexor::app
