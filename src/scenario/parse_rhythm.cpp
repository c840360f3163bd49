#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>
#include <string_view>

#include "scenario/bounds.hpp"
#include "scenario/parse.hpp"

namespace plexor::scenario {

namespace {

using base::Duration;
using base::TableReader;

constexpr std::string_view nothing = "nothing";
constexpr std::size_t longest_rhythm_name = 60;

void check_rhythm_name(const TableReader& rhythms, const std::string& name) {
  const std::string expected = expected_rhythm_name(name);
  if (expected.empty()) return;
  const std::string named = name == nothing ? "a rhythm named" : "the rhythm name";
  rhythms.fail(name, fmt::format("{} \"{:.60}\"", named, name), expected);
}

std::vector<Duration> read_contacts(TableReader& rhythm) {
  constexpr auto* key = "contacts_ms";
  std::vector<Duration> contacts = rhythm.durations(key, {0.0, 60'000.0});
  if (contacts.size() > max_taps_per_rhythm) {
    rhythm.fail(key, fmt::format("{} contacts", contacts.size()),
                fmt::format("at most {}", max_taps_per_rhythm));
  }
  if (contacts.front() != Duration::zero()) {
    rhythm.fail(key, fmt::format("a first contact at {}", in_ms(contacts.front())), "0",
                "count all contacts from the first");
  }
  for (std::size_t k = 1; k < contacts.size(); ++k) {
    if (contacts[k] > contacts[k - 1]) continue;
    rhythm.fail(key,
                fmt::format("contact {} at {} after contact {} at {}", k + 1, in_ms(contacts[k]), k,
                            in_ms(contacts[k - 1])),
                "contacts in rising order, no two alike");
  }
  return contacts;
}

/// [rhythm.NAME]
Rhythm read_rhythm(TableReader rhythm, const std::string& name) {
  expect_keys(rhythm, {"contacts_ms", "expects"});
  std::string expects = rhythm.has("expects") ? read_name(rhythm, "expects") : name;
  if (expects == nothing) expects.clear();
  return {.name = name, .contacts = read_contacts(rhythm), .expects = std::move(expects)};
}

/// An event is known if a rhythm (not a distractor) has it as its name, or if
/// another rhythm expects it too; a word that stands alone is taken for a misspelling.
void check_expected_events(TableReader& table, const std::vector<Rhythm>& rhythms) {
  std::set<std::string> names;
  for (const Rhythm& rhythm : rhythms) {
    if (!rhythm.is_distractor()) names.insert(rhythm.name);
  }
  for (const Rhythm& rhythm : rhythms) {
    if (rhythm.is_distractor() || names.contains(rhythm.expects)) continue;
    const auto sharing = std::count_if(rhythms.begin(), rhythms.end(), [&](const Rhythm& other) {
      return other.expects == rhythm.expects;
    });
    if (sharing > 1) continue;
    const std::string nearest = base::nearest_word(rhythm.expects, names);
    table.table(rhythm.name)
        .fail("expects", fmt::format("the event \"{}\", which no other rhythm has", rhythm.expects),
              fmt::format("one of {}, nothing", fmt::join(names, ", ")),
              nearest.empty() ? "name the rhythm itself so"
                              : fmt::format("did you mean \"{}\"?", nearest));
  }
}

Jitter::Model read_model(TableReader& jitter) {
  const std::string word = jitter.choice("model", {"none", "uniform", "normal", "human"});
  if (word == "uniform") return Jitter::Model::uniform;
  if (word == "normal") return Jitter::Model::normal;
  return word == "human" ? Jitter::Model::human : Jitter::Model::none;
}

/// The key whose value decides how far contacts can move.
std::string main_key(Jitter::Model model) {
  switch (model) {
    case Jitter::Model::uniform: return "spread_ms";
    case Jitter::Model::normal: return "sd_ms";
    case Jitter::Model::human: return "motor_sd_ms";
    case Jitter::Model::none: break;
  }
  return "model";
}

void check_order_is_kept(const TableReader& table, const Jitter& jitter,
                         const std::vector<Rhythm>& rhythms) {
  for (const Rhythm& rhythm : rhythms) {
    for (std::size_t k = 1; k < rhythm.contacts.size(); ++k) {
      const Duration shortest = shortest_interval(rhythm, jitter, k);
      if (shortest > Duration::zero()) continue;
      table.fail(
          main_key(jitter.model),
          fmt::format("jitter that could put contact {} of rhythm \"{}\" before contact {} "
                      "(their {} could shrink to {})",
                      k + 1, rhythm.name, k, in_ms(nominal_interval(rhythm, k)), in_ms(shortest)),
          "contacts that stay in order (draws reach 3 sd)", "take less jitter or longer intervals");
    }
  }
}

}  // namespace

std::string expected_rhythm_name(const std::string& name) {
  const auto allowed = [](char c) {
    return ('a' <= c && c <= 'z') || ('0' <= c && c <= '9') || c == '-';
  };
  if (name.empty() || name.size() > longest_rhythm_name ||
      !std::all_of(name.begin(), name.end(), allowed)) {
    return fmt::format("1 to {} of the characters a-z, 0-9 and -", longest_rhythm_name);
  }
  if (name == nothing) return "another name: as an event it stands for no event at all";
  return "";
}

std::vector<Rhythm> read_rhythms(TableReader& root) {
  if (!root.has("rhythm")) return {};
  TableReader table = root.table("rhythm");
  const std::vector<std::string> names = table.table_names();
  expect_keys(table, names);
  if (names.empty() || names.size() > max_rhythms) {
    root.fail("rhythm", fmt::format("{} rhythms", names.size()),
              fmt::format("1 to {}, each begun by [rhythm.NAME]", max_rhythms));
  }
  std::vector<Rhythm> rhythms;
  rhythms.reserve(names.size());
  for (const std::string& name : names) {
    check_rhythm_name(table, name);
    rhythms.push_back(read_rhythm(table.table(name), name));
  }
  check_expected_events(table, rhythms);
  return rhythms;
}

Jitter read_jitter(TableReader table, const std::vector<Rhythm>& rhythms) {
  expect_keys(table, {"model", "spread_ms", "sd_ms", "tempo_cv", "motor_sd_ms"});
  Jitter jitter{.model = read_model(table)};
  std::vector<std::string> of_other_models;
  if (jitter.model == Jitter::Model::uniform) {
    jitter.spread = table.duration("spread_ms", {0.0, 10'000.0});
  } else {
    of_other_models.emplace_back("spread_ms");
  }
  if (jitter.model == Jitter::Model::normal) {
    jitter.sd = table.duration("sd_ms", {0.0, 10'000.0});
  } else {
    of_other_models.emplace_back("sd_ms");
  }
  if (jitter.model == Jitter::Model::human) {
    jitter.tempo_cv_ppm = std::llround(table.number("tempo_cv", {0.0, 0.33}) * 1e6);
    jitter.motor_sd = table.duration("motor_sd_ms", {0.0, 10'000.0});
  } else {
    of_other_models.insert(of_other_models.end(), {"tempo_cv", "motor_sd_ms"});
  }
  refuse_keys(table, of_other_models,
              fmt::format("the keys of model \"{}\" only", table.text("model")));
  check_order_is_kept(table, jitter, rhythms);
  return jitter;
}

}  // namespace plexor::scenario
