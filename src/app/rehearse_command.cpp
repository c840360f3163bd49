#include <fmt/format.h>

#include <algorithm>
#include <memory>
#include <nlohmann/json.hpp>
#include <string>

#include "analysis/provable.hpp"
#include "app/commands.hpp"
#include "app/disk_check.hpp"
#include "app/job.hpp"
#include "app/traces.hpp"
#include "base/error.hpp"
#include "scenario/planner.hpp"

namespace plexor::app {

namespace {

struct RehearseOptions {
  std::string scenario;
  std::string rig;
  std::string traces;
  std::vector<std::string> beside;
  bool json = false;
};

std::string clock_text(base::Duration duration) {
  const auto seconds = std::chrono::duration_cast<std::chrono::seconds>(duration).count();
  if (seconds >= 3600) return fmt::format("{} h {:02} min", seconds / 3600, seconds % 3600 / 60);
  if (seconds >= 60) return fmt::format("{} min {:02} s", seconds / 60, seconds % 60);
  return fmt::format("{} s", seconds);
}

void print_plan(const Job& job) {
  const scenario::Scenario& scenario = job.scenario;
  fmt::print("{} on {} ({})\n", scenario.name, job.rig.name, job.rig.setting.surface);
  for (const scenario::Block& block : scenario.blocks) {
    if (block.quiet) {
      fmt::print("  quiet      {:>6} stretch{}\n", block.trials, block.trials == 1 ? "" : "es");
    } else {
      const scenario::Rhythm& rhythm = scenario.rhythms[block.rhythm];
      fmt::print(
          "  {:<10} {:>6} trials, {}\n", rhythm.name, block.trials,
          rhythm.is_distractor() ? "a distractor" : fmt::format("expects {}", rhythm.expects));
    }
  }
}

void print_course(const Job& job) {
  const run::Rehearsal& found = job.rehearsal;
  fmt::print("\nTakes {}{} for {} trials, {} taps and {} of quiet.\n",
             job.scenario.may_stop_early() ? "at most " : "", clock_text(found.length),
             found.trials, found.taps, clock_text(found.quiet));
  fmt::print(
      "Coil: at most {:.1f} degC (limit {:.0f} less {:.0f} K margin) and {:.2f} % duty "
      "(limit {:.0f} %), by the model.\n",
      found.peak_winding_c, job.rig.limits.max_coil_c, job.rig.limits.coil_margin_k,
      found.peak_duty_percent, job.rig.limits.duty_percent);
  fmt::print("{}\n", disk_text(job));
  constexpr std::size_t rows = 8;
  const std::size_t step = std::max<std::size_t>(1, found.coil.size() / rows);
  if (!found.coil.empty()) fmt::print("      after    winding     duty\n");
  for (std::size_t i = 0; i < found.coil.size(); i += step) {
    fmt::print("  {:>9}  {:5.1f} degC  {:5.2f} %\n",
               clock_text(found.coil[i].at.time_since_epoch()), found.coil[i].winding_c,
               found.coil[i].duty_percent);
  }
}

nlohmann::ordered_json as_json(const Job& job, const std::vector<analysis::Provable>& limits) {
  const run::Rehearsal& found = job.rehearsal;
  nlohmann::ordered_json json{{"scenario", job.scenario.name},
                              {"rig", job.rig.name},
                              {"length_s", base::to_s(found.length)},
                              {"quiet_s", base::to_s(found.quiet)},
                              {"trials", found.trials},
                              {"taps", found.taps},
                              {"reference_groups", found.reference_groups},
                              {"peak_winding_c", found.peak_winding_c},
                              {"peak_duty_percent", found.peak_duty_percent}};
  json["disk"] = disk_json(job);
  for (const run::CoilPoint& point : found.coil) {
    json["coil"].push_back({{"at_s", base::to_s(point.at.time_since_epoch())},
                            {"winding_c", point.winding_c},
                            {"duty_percent", point.duty_percent}});
  }
  for (const analysis::Provable& limit : limits) {
    nlohmann::ordered_json entry{
        {"figure", limit.figure},     {"limit", limit.limit},
        {"can_pass", limit.can_pass}, {"planned", limit.planned},
        {"needed", nullptr},          {"allowed", nullptr},
        {"sentence", limit.sentence}, {"power_sentence", limit.power_sentence}};
    if (limit.needed) entry["needed"] = *limit.needed;
    if (limit.allowed) entry["allowed"] = *limit.allowed;
    entry["expected"] = limit.expected;
    entry["power"] = limit.power;
    entry["needed_for_power"] = {{"80 %", nullptr}, {"95 %", nullptr}};
    if (limit.for_80) entry["needed_for_power"]["80 %"] = *limit.for_80;
    if (limit.for_95) entry["needed_for_power"]["95 %"] = *limit.for_95;
    json["limits"].push_back(std::move(entry));
  }
  return json;
}

/// The strike of the first tap that the plan makes.
base::StrikeSpeed first_strike(const Job& job) {
  scenario::History history(job.scenario);
  while (const auto trial = scenario::next(job.scenario, history)) {
    if (!trial->taps.empty()) return trial->taps.front().strike;
    history.took(trial->id);
  }
  throw base::InputError({job.scenario_file, 0, 0}, "no taps", "a scenario that taps",
                         "--traces shows the first tap of the plan");
}

void make_traces(const RehearseOptions& options, const Job& job) {
  std::vector<std::string> rigs{options.rig};
  rigs.insert(rigs.end(), options.beside.begin(), options.beside.end());
  write_traces_page(options.traces, first_strike(job), rigs);
}

}  // namespace

CommandBody add_rehearse_command(CLI::App& parser) {
  const auto options = std::make_shared<RehearseOptions>();
  parser.add_option("SCENARIO", options->scenario, "Scenario file: what to do")->required();
  parser.add_option("--rig", options->rig, "Rig file: what to do it with")->required();
  const CLI::Option* traces =
      parser.add_option("--traces", options->traces,
                        "Also write a page (.html) with the curves of one simulated tap");
  parser
      .add_option("--beside", options->beside,
                  "More rig files for that page: other surfaces, to compare")
      ->needs("--traces");
  parser.add_flag("--json", options->json, "Print one JSON document instead of text");
  parser.footer(
      "Example: plexor rehearse scenarios/regression.toml --rig rig/simulated-oak.toml\n"
      "Moves nothing. Exit code 2: this rig must not tap it, or a limit can't be passed.");
  return [options, traces] {
    const Job job = load_job(options->scenario, options->rig);
    const auto limits = analysis::what_can_be_proved(job.scenario);
    if (traces->count() > 0) make_traces(*options, job);
    if (options->json) {
      fmt::print("{}\n", as_json(job, limits).dump(2));
    } else {
      print_plan(job);
      print_course(job);
      fmt::print("\nWhat it can prove:\n");
      for (const auto& limit : limits) {
        fmt::print("  {}\n", limit.sentence);
        if (!limit.power_sentence.empty()) fmt::print("    {}\n", limit.power_sentence);
      }
      if (limits.empty()) fmt::print("  nothing: the scenario sets no limit in [accept]\n");
      if (traces->count() > 0) {
        fmt::print("\nCurves of one tap: {}\n",
                   std::filesystem::absolute(options->traces).lexically_normal().string());
      }
    }
    const bool all =
        std::all_of(limits.begin(), limits.end(), [](const auto& limit) { return limit.can_pass; });
    return all ? ExitCode::pass : ExitCode::wrong_usage;
  };
}

}  // namespace plexor::app
