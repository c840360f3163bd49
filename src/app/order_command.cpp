#include <fmt/format.h>

#include <algorithm>
#include <memory>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "analysis/comparing/orders.hpp"
#include "app/commands.hpp"
#include "base/error.hpp"

namespace plexor::app {

namespace {

struct OrderOptions {
  std::vector<std::string> units;
  std::vector<std::string> releases;
  std::uint32_t times = 1;
  std::uint64_t seed = 1;
  bool json = false;
};

/// One line for each run, with what it takes.
using Plan = std::vector<std::vector<std::string>>;

/// Without the blanks around them; each only once.
std::vector<std::string> names_of(const std::vector<std::string>& given, const char* option) {
  std::vector<std::string> names;
  for (const std::string& one : given) {
    const std::size_t from = one.find_first_not_of(' ');
    const std::string name =
        from == std::string::npos ? "" : one.substr(from, one.find_last_not_of(' ') - from + 1);
    if (name.empty() || std::ranges::find(names, name) != names.end()) {
      throw base::InputError({option, 0, 0}, name.empty() ? "an empty name" : name + " twice",
                             "a name of its own for each");
    }
    names.push_back(name);
  }
  return names;
}

Plan places_of(const OrderOptions& options) {
  const std::vector<std::string> units = names_of(options.units, "--units");
  Plan plan;
  for (std::uint32_t time = 0; time < options.times; ++time) {
    for (const auto& run : analysis::latin_square(units.size(), options.seed + time)) {
      std::vector<std::string>& line = plan.emplace_back();
      for (const std::size_t unit : run) line.push_back(units[unit]);
    }
  }
  return plan;
}

Plan turns_of(const OrderOptions& options) {
  const std::vector<std::string> releases = names_of(options.releases, "--releases");
  Plan plan;
  for (const analysis::Turn turn : analysis::there_and_back(options.times)) {
    plan.push_back({releases[turn == analysis::Turn::base ? 0 : 1]});
  }
  return plan;
}

void print_text(const Plan& plan, bool places) {
  if (places) {
    fmt::print(
        "Each unit stands at each place equally often. Say in the rig file of each run who\n"
        "stands where ([[device]], position = \"place 1\"), put the runs into one folder,\n"
        "then: plexor units FOLDER\n");
  } else {
    fmt::print(
        "There and back: what drifts steadily meets both releases alike. Flash and mount\n"
        "anew before each run; then put the runs of each release into a folder, and:\n"
        "plexor compare BASE-FOLDER CANDIDATE-FOLDER\n");
  }
  for (std::size_t run = 0; run < plan.size(); ++run) {
    fmt::print("  run {}:", run + 1);
    for (std::size_t place = 0; place < plan[run].size(); ++place) {
      if (places) fmt::print("  place {}", place + 1);
      fmt::print(" {}", plan[run][place]);
    }
    fmt::print("\n");
  }
}

ExitCode print_order(const OrderOptions& options) {
  const bool places = !options.units.empty();
  if (places == !options.releases.empty()) {
    throw base::InputError({"order", 0, 0}, places ? "both" : "neither",
                           "--units or --releases, one of them");
  }
  const Plan plan = places ? places_of(options) : turns_of(options);
  if (options.json) {
    fmt::print("{}\n", nlohmann::json{{"runs", plan}}.dump(2));
  } else {
    print_text(plan, places);
  }
  return ExitCode::pass;
}

}  // namespace

CommandBody add_order_command(CLI::App& parser) {
  const auto options = std::make_shared<OrderOptions>();
  parser
      .add_option("--units", options->units,
                  "Units that share a surface, with commas between: they change places")
      ->delimiter(',')
      ->expected(2, 16);
  parser
      .add_option("--releases", options->releases,
                  "The release before and the one now, with a comma between: A-B-B-A")
      ->delimiter(',')
      ->expected(2);
  parser.add_option("--times", options->times, "The whole order so often")
      ->check(CLI::Range(1, 100))
      ->capture_default_str();
  parser.add_option("--seed", options->seed, "Of the random order of runs and units")
      ->capture_default_str();
  parser.add_flag("--json", options->json, "Print one JSON document instead of text");
  parser.footer("Example: plexor order --units panel-1,panel-2,panel-3");
  return [options] { return print_order(*options); };
}

}  // namespace plexor::app
