#include <fmt/format.h>

#include <chrono>
#include <memory>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "analysis/number_text.hpp"
#include "app/archive_option.hpp"
#include "app/commands.hpp"
#include "app/text_file.hpp"
#include "archive/archive.hpp"
#include "archive/queue.hpp"
#include "report/format.hpp"
#include "report/json_values.hpp"
#include "report/text.hpp"
#include "scenario/parse.hpp"

namespace plexor::app {

namespace {

using namespace std::chrono_literals;
using archive::WorkItem;
using archive::WorkState;

struct QueueOptions {
  std::vector<std::string> scenarios;
  std::string rig;
  std::string surface;
  std::int32_t priority = 0;
  std::string archive = default_archive;
  bool json = false;
};

archive::NewWork work_of(const std::string& file, const QueueOptions& options) {
  const std::string text = read_text_file(file);
  return {.scenario = scenario::parse_scenario(text, file).name,
          .scenario_text = text,
          .rig = options.rig,
          .surface = options.surface,
          .priority = options.priority};
}

ExitCode add_to_queue(const QueueOptions& options) {
  std::vector<archive::NewWork> works;
  for (const std::string& file : options.scenarios) works.push_back(work_of(file, options));
  archive::Archive archive(archive::address_of(options.archive));
  const auto items = archive::Queue(archive).add(works);
  for (std::size_t i = 0; i < items.size(); ++i) {
    fmt::print("item {}: {}\n", items[i], report::printable_line(works[i].scenario));
  }
  return ExitCode::pass;
}

/// "north, on oak counter"; "any rig".
std::string for_whom(const WorkItem& item) {
  if (item.work.rig.empty() && item.work.surface.empty()) return "any rig";
  if (item.work.surface.empty()) return item.work.rig;
  return fmt::format("{}, on {}", item.work.rig.empty() ? "any rig" : item.work.rig,
                     item.work.surface);
}

/// What there is to say of its state.
std::string told(const WorkItem& item) {
  switch (item.state) {
    case WorkState::waiting: return "waiting";
    case WorkState::claimed: {
      const double left_s = std::chrono::duration<double>(item.lease.value_or(0ms)).count();
      return fmt::format(
          "claimed by {}, {}", item.claimed_by,
          left_s < 0.0 ? "which is lost" : "its lease ends in " + report::length_of_time(left_s));
    }
    case WorkState::recorded:
      return fmt::format("recorded by {}: run {}", item.claimed_by, item.run_id);
    case WorkState::refused: return "refused: " + item.reason;
  }
  return "";
}

void print_queue(const std::vector<WorkItem>& items) {
  if (items.empty()) fmt::print("The queue is empty.\n");
  for (const WorkItem& item : items) {
    fmt::print("item {}: {}\n", item.item, report::printable_line(item.work.scenario));
    fmt::print("  for {}; priority {}; {}\n", report::printable_line(for_whom(item)),
               item.work.priority,
               analysis::counted(static_cast<std::uint64_t>(item.attempts), "attempt"));
    fmt::print("  {}\n", report::printable_line(told(item)));
  }
}

nlohmann::ordered_json json_of(const WorkItem& item) {
  nlohmann::ordered_json json{{"item", item.item},
                              {"state", archive::to_text(item.state)},
                              {"scenario", item.work.scenario},
                              {"rig", report::text_or_null(item.work.rig)},
                              {"surface", report::text_or_null(item.work.surface)},
                              {"priority", item.work.priority},
                              {"attempts", item.attempts},
                              {"claimed_by", report::text_or_null(item.claimed_by)},
                              {"lease_left_ms", nullptr},
                              {"run_id", report::text_or_null(item.run_id)},
                              {"reason", report::text_or_null(item.reason)}};
  if (item.lease) json["lease_left_ms"] = item.lease->count();
  return json;
}

ExitCode list_queue(const QueueOptions& options) {
  archive::Archive archive(archive::address_of(options.archive));
  const std::vector<WorkItem> items = archive::Queue(archive).list();
  if (!options.json) {
    print_queue(items);
    return ExitCode::pass;
  }
  nlohmann::ordered_json all = nlohmann::ordered_json::array();
  for (const WorkItem& item : items) all.push_back(json_of(item));
  fmt::print("{}\n", nlohmann::ordered_json{{"format", 1}, {"items", all}}.dump(2));
  return ExitCode::pass;
}

}  // namespace

CommandBody add_queue_command(CLI::App& parser) {
  const auto options = std::make_shared<QueueOptions>();
  add_archive_option(parser, options->archive);
  parser.add_flag("--json", options->json, "Print one JSON document instead of text");
  parser.footer(
      "Example: plexor queue --archive postgresql://plexor@kiln/lab\n"
      "         plexor queue add scenarios/regression.toml --surface \"oak counter, 38 mm, "
      "oiled\"\n"
      "Rigs do what is in it with: plexor work");
  CLI::App* add = parser.add_subcommand("add", "Put scenarios into the queue");
  add->fallthrough();  // --archive after it, too
  add->add_option("SCENARIO", options->scenarios, "Scenario files: what to do, each once")
      ->required();
  add->add_option("--rig", options->rig, "The only rig that may do it, by its name");
  add->add_option("--surface", options->surface, "The only surface on which it may be done");
  add->add_option("--priority", options->priority, "The higher, the earlier")
      ->capture_default_str();
  return [options, add] { return add->parsed() ? add_to_queue(*options) : list_queue(*options); };
}

}  // namespace plexor::app
