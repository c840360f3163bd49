#include "analysis/comparing/comparable.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "base/error.hpp"

namespace plexor::analysis {
namespace {

class Differences {
 public:
  void add(const std::string& what, const std::string& base, const std::string& candidate,
           bool spoils) {
    if (base != candidate) found_.push_back({what, base, candidate, spoils});
  }
  [[nodiscard]] std::vector<SettingDifference> take() { return std::move(found_); }

 private:
  std::vector<SettingDifference> found_;
};

std::string tapper_mode(const RunEvidence& run) { return run.header.lifted ? "lifted" : "tapping"; }
std::string kind_of_rig(const RunEvidence& run) {
  return run.header.rig.simulated ? "simulated" : "real";
}

/// Whether both present the same rhythms as often, as hard and as much jittered.
bool have_one_task(const scenario::Scenario& base, const scenario::Scenario& candidate) {
  return base.rhythms == candidate.rhythms && base.jitter == candidate.jitter &&
         base.blocks == candidate.blocks && base.incident_window == candidate.incident_window;
}

std::string devices_of(const RunEvidence& run) {
  std::vector<std::string> names;
  for (const DeviceAnswers& device : run.devices) names.push_back(device.name);
  std::ranges::sort(names);
  std::string text;
  for (const std::string& name : names) text += (text.empty() ? "" : ", ") + name;
  return text;
}

}  // namespace

std::vector<SettingDifference> setting_differences(const RunEvidence& base,
                                                   const RunEvidence& candidate) {
  Differences found;
  if (!have_one_task(base.scenario, candidate.scenario)) {
    found.add(
        "scenario (rhythms, blocks or jitter)", base.scenario.name,
        base.scenario.name == candidate.scenario.name ? "changed since" : candidate.scenario.name,
        true);
  }
  const journal::RigFacts& rig = base.header.rig;
  const journal::RigFacts& other = candidate.header.rig;
  found.add("rig", kind_of_rig(base), kind_of_rig(candidate), true);
  found.add("tapper", tapper_mode(base), tapper_mode(candidate), true);
  found.add("surface", rig.surface, other.surface, true);
  found.add("spot", rig.spot, other.spot, true);
  found.add("mounting", rig.mounting, other.mounting, true);
  found.add("devices", devices_of(base), devices_of(candidate), true);
  found.add("calibration", rig.calibration_date, other.calibration_date, false);
  found.add("contact", rig.contact_sensed ? "sensed" : "not sensed",
            other.contact_sensed ? "sensed" : "not sensed", false);
  found.add("rig's name", rig.name, other.name, false);
  found.add("seed", fmt::format("{}", base.header.seed), fmt::format("{}", candidate.header.seed),
            false);
  return found.take();
}

bool are_paired(const RunEvidence& base, const RunEvidence& candidate) {
  return base.header.seed == candidate.header.seed &&
         have_one_task(base.scenario, candidate.scenario) &&
         base.scenario.order == candidate.scenario.order;
}

void need_fixed_numbers(std::span<const RunEvidence> runs) {
  for (const RunEvidence& run : runs) {
    if (run.scenario.has_adaptive_block()) {
      throw base::InputError({run.place, 0, 0}, "a run with adaptive strikes",
                             "runs whose strikes were fixed beforehand",
                             "adaptive strikes go where about half is heard, whatever the device: "
                             "look at the strike speeds in the reports");
    }
    if (!run.scenario.accept.may_stop_early()) continue;
    throw base::InputError({run.place, 0, 0}, "a run with sequential limits",
                           "runs whose numbers of trials were fixed beforehand",
                           "a run that stops early would bias every test here: take runs of a "
                           "scenario with at_least and at_most");
  }
}

std::vector<std::string> reservations_about(std::span<const RunEvidence> runs) {
  std::vector<std::string> found;
  for (const RunEvidence& run : runs) {
    if (!run.is_complete) found.push_back(fmt::format("{} did not come to its end", run.place));
    const double most = run.scenario.accept.max_void_fraction;
    if (run.void_fraction > most) {
      found.push_back(
          fmt::format("{}: {:.1f} % of its presentations were void, at most {:g} % allowed",
                      run.place, run.void_fraction * 100.0, most * 100.0));
    }
  }
  return found;
}

std::string in_words(const SettingDifference& difference) {
  const auto shown = [](const std::string& text) { return text.empty() ? "none" : text; };
  return fmt::format("{}: base {}, candidate {}", difference.what, shown(difference.base),
                     shown(difference.candidate));
}

}  // namespace plexor::analysis
