#include "scenario/parse.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <limits>
#include <set>

#include "scenario/planner.hpp"

namespace plexor::scenario {

namespace {

using base::TableReader;

bool is_continuation(unsigned char byte) { return (byte & 0xc0U) == 0x80U; }

/// Control characters of ASCII and (in UTF-8: C2 80 to C2 9F) of Latin-1.
bool has_control_character(const std::string& text) {
  for (std::size_t i = 0; i < text.size(); ++i) {
    const auto byte = static_cast<unsigned char>(text[i]);
    if (byte < 0x20 || byte == 0x7f) return true;
    if (byte == 0xc2 && i + 1 < text.size() && static_cast<unsigned char>(text[i + 1]) < 0xa0) {
      return true;
    }
  }
  return false;
}

ScenarioPurpose read_purpose(TableReader& table) {
  const std::string word = table.choice("purpose", {"regression", "surface", "soak"});
  if (word == "surface") return ScenarioPurpose::surface;
  return word == "soak" ? ScenarioPurpose::soak : ScenarioPurpose::regression;
}

BlockOrder read_order(TableReader& table) {
  if (!table.has("order")) return BlockOrder::interleaved;
  const bool in_order = table.choice("order", {"interleaved", "in-order"}) == "in-order";
  return in_order ? BlockOrder::in_order : BlockOrder::interleaved;
}

/// [scenario]
void read_scenario(TableReader table, Scenario& scenario) {
  expect_keys(table,
              {"name", "purpose", "seed", "order", "pulse_tolerance_ms", "incident_window_ms"});
  scenario.name = read_name(table, "name");
  scenario.purpose = read_purpose(table);
  scenario.seed =
      static_cast<std::uint64_t>(table.whole("seed", 0, std::numeric_limits<std::int64_t>::max()));
  scenario.order = read_order(table);
  scenario.pulse_tolerance =
      table.duration_or("pulse_tolerance_ms", {0.001, 1000.0}, std::chrono::milliseconds{2});
  scenario.incident_window =
      table.duration_or("incident_window_ms", {0.0, 60'000.0}, std::chrono::milliseconds{2000});
}

std::vector<Spot> read_spots(TableReader& root) {
  constexpr std::size_t most_spots = 100;
  std::vector<Spot> spots;
  std::set<std::string> names;
  for (TableReader& table : root.tables("spot")) {
    expect_keys(table, {"name", "at_mm"});
    Spot spot{.name = read_name(table, "name")};
    if (table.has("at_mm")) spot.at = table.surface_point("at_mm");
    if (!names.insert(spot.name).second) {
      table.fail("name", fmt::format("a second spot \"{}\"", spot.name),
                 "a name of its own for each spot");
    }
    spots.push_back(std::move(spot));
  }
  if (spots.size() > most_spots) {
    root.fail("spot", fmt::format("{} spots", spots.size()), fmt::format("at most {}", most_spots));
  }
  return spots;
}

/// [wanted]
Wanted read_wanted(TableReader table) {
  expect_keys(table, {"softest_m_s", "false_triggers_per_hour"});
  Wanted wanted;
  if (table.has("softest_m_s")) {
    wanted.softest = base::strike_speed_from_m_s(table.number("softest_m_s", strike_range_m_s));
  }
  wanted.false_triggers_per_hour =
      table.number_or("false_triggers_per_hour", {0.0, 1e6}, wanted.false_triggers_per_hour);
  return wanted;
}

std::vector<Block> read_blocks(TableReader& root, const Scenario& scenario) {
  std::vector<TableReader> tables = root.tables("block");
  if (tables.empty() || tables.size() > max_blocks) {
    root.fail("block", fmt::format("{} blocks", tables.size()),
              fmt::format("1 to {}, each begun by [[block]]", max_blocks));
  }
  std::vector<Block> blocks;
  blocks.reserve(tables.size());
  std::int64_t trials = 0;
  for (TableReader& table : tables) {
    blocks.push_back(read_block(table, scenario.rhythms, scenario.spots));
    trials += blocks.back().trials;
    if (trials > max_trials) {
      table.fail(blocks.back().quiet ? "quiet_s" : "trials",
                 fmt::format("{} trials up to this block", trials),
                 fmt::format("at most {} in all blocks", max_trials));
    }
  }
  return blocks;
}

/// In order, the trials of a later block would not be presented at all once a test on both has
/// ended.
void check_order(const TableReader& scenario_table, const Scenario& scenario) {
  if (scenario.order != BlockOrder::in_order) return;
  const auto blocks_that = [&](const auto& fits) {
    return std::count_if(scenario.blocks.begin(), scenario.blocks.end(), [&](const Block& block) {
      return !block.quiet && fits(scenario.rhythms[block.rhythm]);
    });
  };
  const auto ignored = [](const Rhythm& rhythm) { return rhythm.is_distractor(); };
  const auto expected = [](const Rhythm& rhythm) { return !rhythm.is_distractor(); };
  const bool cuts_short = (scenario.accept.expecting_may_stop() && blocks_that(expected) > 1) ||
                          (scenario.accept.distractors_may_stop() && blocks_that(ignored) > 1);
  if (!cuts_short) return;
  scenario_table.fail("order", "\"in-order\" with a sequential limit over several blocks",
                      "interleaved blocks",
                      "the test could end before the later blocks have begun");
}

/// Adaptive strikes go where about half is heard, whatever the device.
void check_adaptive(const TableReader& scenario_table, const Scenario& scenario) {
  if (!scenario.has_adaptive_block()) return;
  const Accept& accept = scenario.accept;
  const bool judged = accept.detection_rate || accept.confusion_rate || !accept.latencies.empty();
  if (!judged) return;
  scenario_table.fail("purpose", "adaptive strikes with a limit on detection, latency or confusion",
                      "limits on false alarms and false responses only",
                      "the strikes go where about half is heard: judge a fixed strength in a "
                      "scenario of its own");
}

void check_a_rhythm_is_used(TableReader& root, const Scenario& scenario) {
  const auto taps = [](const Block& block) { return !block.quiet; };
  if (scenario.rhythms.empty() ||
      std::any_of(scenario.blocks.begin(), scenario.blocks.end(), taps)) {
    return;
  }
  root.table("rhythm").fail(scenario.rhythms.front().name, "rhythms that no block uses",
                            "a block that presents one of them",
                            "add a [[block]] with `rhythm`, or take the rhythms out");
}

void check_length(TableReader& root, const Scenario& scenario) {
  const base::Duration length = expected_duration(scenario);
  if (length <= max_plan) return;
  const auto days = [](base::Duration d) {
    return std::chrono::duration_cast<std::chrono::hours>(d).count() / 24;
  };
  root.fail("block", fmt::format("a plan of more than {} days", days(length)),
            fmt::format("at most {} days", days(max_plan)), "take fewer trials or less quiet");
}

}  // namespace

void expect_keys(TableReader& table, const std::vector<std::string>& known) {
  for (const std::string& key : known) (void)table.has(key);
  table.finish();
}

void refuse_keys(TableReader& table, const std::vector<std::string>& senseless,
                 const std::string& expected) {
  for (const std::string& key : senseless) {
    if (table.has(key)) table.fail(key, "a key that has no meaning here", expected, "take it out");
  }
}

std::string read_name(TableReader& table, const std::string& key) {
  constexpr std::ptrdiff_t longest = 60;
  std::string name = table.text(key);
  const auto characters = std::count_if(name.begin(), name.end(), [](char c) {
    return !is_continuation(static_cast<unsigned char>(c));
  });
  const std::string expected = fmt::format("1 to {} printable characters without quotes", longest);
  if (characters < 1 || characters > longest) {
    table.fail(key, fmt::format("a name of {} characters", characters), expected);
  }
  if (has_control_character(name)) table.fail(key, "a control character", expected);
  if (name.find_first_of("\"'`") != std::string::npos) {
    table.fail(key, fmt::format("a quote in the name {}", name), expected);
  }
  return name;
}

std::string in_ms(base::Duration duration) { return fmt::format("{} ms", base::to_ms(duration)); }

Scenario parse_scenario(std::string_view text, const std::string& file) {
  TableReader root = TableReader::parse(text, file);
  root.refuse_newer_format(format_version);
  expect_keys(root, {"format", "scenario", "rhythm", "jitter", "block", "reference", "accept",
                     "compare", "spot", "wanted"});

  Scenario scenario;
  read_scenario(root.table("scenario"), scenario);
  scenario.rhythms = read_rhythms(root);
  if (root.has("jitter")) scenario.jitter = read_jitter(root.table("jitter"), scenario.rhythms);
  scenario.spots = read_spots(root);
  scenario.blocks = read_blocks(root, scenario);
  check_a_rhythm_is_used(root, scenario);
  if (root.has("reference")) scenario.reference = read_reference(root.table("reference"));
  if (root.has("accept")) scenario.accept = read_accept(root.table("accept"));
  check_order(root.table("scenario"), scenario);
  check_adaptive(root.table("scenario"), scenario);
  if (root.has("wanted")) scenario.wanted = read_wanted(root.table("wanted"));
  if (root.has("compare")) scenario.margins = read_margins(root.table("compare"));
  check_length(root, scenario);
  return scenario;
}

bool Scenario::has_adaptive_block() const {
  return std::any_of(blocks.begin(), blocks.end(),
                     [](const Block& block) { return block.is_adaptive(); });
}

bool Scenario::may_stop_early() const {
  return accept.may_stop_early() ||
         std::any_of(blocks.begin(), blocks.end(), [](const Block& block) {
           return block.is_adaptive() && block.strength.placing->precision_ppm > 0;
         });
}

std::string_view to_text(ScenarioPurpose purpose) {
  switch (purpose) {
    case ScenarioPurpose::regression: return "regression";
    case ScenarioPurpose::surface: return "surface";
    case ScenarioPurpose::soak: return "soak";
  }
  return "unknown";
}

}  // namespace plexor::scenario
