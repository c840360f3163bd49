#include <fmt/format.h>
#include <sys/timex.h>

#include <algorithm>
#include <chrono>
#include <functional>
#include <memory>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "app/commands.hpp"
#include "app/live_session.hpp"
#include "app/rig_loading.hpp"
#include "app/run_journal.hpp"
#include "base/calendar.hpp"
#include "base/error.hpp"
#include "rig/check_channel.hpp"
#include "rig/check_listener.hpp"
#include "rig/finding.hpp"
#include "run/disk_room.hpp"
#include "run/real_time.hpp"

namespace plexor::app {

namespace {

using rig::Finding;
using State = Finding::State;

struct PreflightOptions {
  std::string rig;
  bool json = false;
};

std::string_view word_of(State state) {
  switch (state) {
    case State::good: return "good";
    case State::warning: return "warning";
    case State::bad: return "bad";
  }
  return "bad";
}

Finding check_calibration(const rig::RigFile& rig) {
  constexpr long old_days = 90;
  if (!rig.calibration) {
    return {State::warning, "calibration", "none yet: strike speeds can't be commanded",
            "plexor calibrate --rig RIG --out FILE, and name it in the rig file"};
  }
  const std::string covers =
      fmt::format("of {}, {:.2f} to {:.2f} m/s, {} curve(s)", rig.calibration->date,
                  base::to_m_s(rig.calibration->slowest()),
                  base::to_m_s(rig.calibration->fastest()), rig.calibration->curves.size());
  const auto today = std::chrono::floor<std::chrono::days>(std::chrono::system_clock::now());
  const auto age_days = (today - base::day_of(rig.calibration->date).value()).count();
  if (age_days < 0) {
    return {State::warning, "calibration", covers + ": it lies in the future",
            "set this computer's clock, or correct the date"};
  }
  if (age_days > old_days) {
    return {State::warning, "calibration", fmt::format("{}: {} days old", covers, age_days),
            "calibrate again: springs, tips and surfaces change"};
  }
  return {State::good, "calibration", covers};
}

Finding check_disk() {
  constexpr std::uint64_t least = 1'000'000'000;
  const std::uint64_t free_bytes = run::free_bytes_at(default_runs_folder);
  // A trial takes about 600 bytes of journal.
  const std::string found =
      fmt::format("{:.1f} GB free here, enough for {:.0f} million trials",
                  static_cast<double>(free_bytes) / 1e9, static_cast<double>(free_bytes) / 600e6);
  if (free_bytes >= least) return {State::good, "disk", found};
  return {State::warning, "disk", found, "make room, or give run --out another disk"};
}

Finding check_clock() {
  timex state{};
  const bool synchronised = adjtimex(&state) != TIME_ERROR && (state.status & STA_UNSYNC) == 0;
  if (synchronised) return {State::good, "wall clock", "synchronised"};
  return {State::warning, "wall clock",
          "not synchronised: dates of runs may be wrong; instants within a run are not affected",
          "install a time service (for example chrony)"};
}

/// Takes the whole rig as a run does, without asking for leave to tap.
Finding check_lines(const LoadedRig& loaded) {
  try {
    LiveSession session(loaded.rig, loaded.file, {});
    session.rig().wait_until_ready();
    session.end_in_order();
  } catch (const base::RigFault& fault) {
    return {State::bad, "lines and interlock", fault.what(),
            "see rig/wiring.md; every guard must hold before a run can be armed"};
  }
  return {State::good, "lines and interlock",
          "taken; stop loop and lid closed, no current, plunger home, warden alive"};
}

std::vector<Finding> check(const LoadedRig& loaded) {
  std::vector<Finding> findings;
  const auto add = [&](std::vector<Finding> more) {
    findings.insert(findings.end(), more.begin(), more.end());
  };
  for (const rig::Device& device : loaded.rig.devices) add(rig::check_listeners(device));
  for (const rig::Channel& channel : loaded.rig.channels) add(rig::check_channel(channel));
  if (loaded.rig.publish) findings.push_back(rig::check_publish(*loaded.rig.publish));
  if (loaded.rig.post) findings.push_back(rig::check_post(*loaded.rig.post));
  findings.push_back(check_lines(loaded));
  findings.push_back(check_calibration(loaded.rig));
  add(run::check_scheduling());
  findings.push_back(check_disk());
  findings.push_back(check_clock());
  return findings;
}

void show(const std::vector<Finding>& findings) {
  for (const Finding& finding : findings) {
    fmt::print("{:8} {}: {}\n", word_of(finding.state), finding.subject, finding.found);
    if (!finding.remedy.empty()) fmt::print("         -> {}\n", finding.remedy);
  }
}

void show_as_json(const std::vector<Finding>& findings) {
  nlohmann::json all = nlohmann::json::array();
  for (const Finding& finding : findings) {
    all.push_back({{"state", word_of(finding.state)},
                   {"subject", finding.subject},
                   {"found", finding.found},
                   {"remedy", finding.remedy}});
  }
  fmt::print("{}\n", all.dump(2, ' ', false, nlohmann::json::error_handler_t::replace));
}

}  // namespace

CommandBody add_preflight_command(CLI::App& parser) {
  const auto options = std::make_shared<PreflightOptions>();
  parser.add_option("--rig", options->rig, "Rig file of kind \"lines\"")->required();
  parser.add_flag("--json", options->json, "Print the findings as JSON");
  parser.footer(
      "Moves nothing and gives no power. Exit code 0: a run could be armed (warnings are\n"
      "said); 3: it could not, or could not be believed.\n"
      "Example: plexor preflight --rig rig/simulate-oak.toml");
  return [options] {
    const LoadedRig loaded = load_rig(options->rig);
    if (!loaded.rig.wiring) {
      throw base::InputError(options->rig + ": a rig in virtual time has nothing to check");
    }
    const std::vector<Finding> findings = check(loaded);
    options->json ? show_as_json(findings) : show(findings);
    const bool bad = std::any_of(findings.begin(), findings.end(),
                                 [](const Finding& one) { return one.state == State::bad; });
    return bad ? ExitCode::fault : ExitCode::pass;
  };
}

}  // namespace plexor::app
