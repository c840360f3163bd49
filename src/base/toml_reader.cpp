#include "base/toml_reader.hpp"

#include <fmt/format.h>
#include <toml++/toml.h>

#include <algorithm>
#include <cmath>
#include <numeric>
#include <utility>

namespace plexor::base {

struct TableReader::Node {
  std::shared_ptr<const toml::table> root;  // keeps the whole document alive
  const toml::table* table;
};

namespace {

std::string describe(const toml::node& node) {
  if (const auto* value = node.as_string()) return fmt::format("the text \"{:.60}\"", value->get());
  if (const auto* value = node.as_integer()) return fmt::format("the number {}", value->get());
  if (const auto* value = node.as_floating_point())
    return fmt::format("the number {}", value->get());
  if (const auto* value = node.as_boolean()) return fmt::format("the flag {}", value->get());
  if (node.is_table()) return "a table";
  return node.is_array() ? "a list" : "a date or time";
}

Place place_of(const toml::node& node, const std::string& file) {
  const auto begin = node.source().begin;
  return {file, static_cast<unsigned>(begin.line), static_cast<unsigned>(begin.column)};
}

std::optional<double> as_double(const toml::node& node) {
  if (const auto* d = node.as_floating_point()) return d->get();
  if (const auto* i = node.as_integer()) return static_cast<double>(i->get());
  return std::nullopt;
}

/// Nanoseconds in the unit that the key's ending names.
double unit_of(const std::string& key) { return key.ends_with("_ms") ? 1e6 : 1e9; }

Duration to_duration(double value, const std::string& key) {
  return Duration{std::llround(value * unit_of(key))};
}

std::size_t edit_distance(std::string_view a, std::string_view b) {
  std::vector<std::size_t> row(b.size() + 1);
  std::iota(row.begin(), row.end(), std::size_t{0});
  for (std::size_t i = 0; i < a.size(); ++i) {
    std::size_t diagonal = row[0];
    row[0] = i + 1;
    for (std::size_t j = 0; j < b.size(); ++j) {
      const std::size_t replaced = diagonal + (a[i] == b[j] ? 0 : 1);
      diagonal = row[j + 1];
      row[j + 1] = std::min({replaced, row[j] + 1, diagonal + 1});
    }
  }
  return row.back();
}

}  // namespace

TableReader::TableReader(std::shared_ptr<const Node> node, std::string file, std::string name)
    : node_(std::move(node)), file_(std::move(file)), name_(std::move(name)) {}

TableReader TableReader::parse(std::string_view text, const std::string& file) {
  try {
    auto root = std::make_shared<const toml::table>(toml::parse(text, file));
    auto node = std::make_shared<const Node>(Node{root, root.get()});
    return TableReader(std::move(node), file, "");
  } catch (const toml::parse_error& error) {
    const auto begin = error.source().begin;
    throw InputError({file, static_cast<unsigned>(begin.line), static_cast<unsigned>(begin.column)},
                     fmt::format("broken TOML ({})", error.description()), "a TOML 1.0 document",
                     "mend the text at this place");
  }
}

void TableReader::fail(const std::string& key, const std::string& found,
                       const std::string& expected, const std::string& remedy) const {
  const std::string where = name_.empty() ? key : name_ + "." + key;
  throw InputError(place(key), fmt::format("{} in \"{}\"", found, where), expected, remedy);
}

Place TableReader::place() const { return place_of(*node_->table, file_); }

Place TableReader::place(const std::string& key) const {
  const auto* value = node_->table->get(key);
  return value != nullptr ? place_of(*value, file_) : place();
}

bool TableReader::has(const std::string& key) {
  asked_.insert(key);
  return node_->table->contains(key);
}

bool TableReader::is_table(const std::string& key) {
  return has(key) && node_->table->get(key)->is_table();
}

bool TableReader::is_list(const std::string& key) {
  return has(key) && node_->table->get(key)->is_array();
}

std::string TableReader::text(const std::string& key) {
  if (!has(key)) fail(key, "no value", "a text", "add it");
  const auto& node = *node_->table->get(key);
  if (!node.is_string()) fail(key, describe(node), "a text in quotes");
  return node.as_string()->get();
}

std::string TableReader::text_or(const std::string& key, const std::string& fallback) {
  return has(key) ? text(key) : fallback;
}

std::string TableReader::choice(const std::string& key, const std::vector<std::string>& choices) {
  std::string word = text(key);
  if (std::find(choices.begin(), choices.end(), word) == choices.end()) {
    fail(key, fmt::format("\"{:.60}\"", word), fmt::format("one of {}", fmt::join(choices, ", ")));
  }
  return word;
}

bool TableReader::flag_or(const std::string& key, bool fallback) {
  if (!has(key)) return fallback;
  const auto& node = *node_->table->get(key);
  if (!node.is_boolean()) fail(key, describe(node), "true or false");
  return node.as_boolean()->get();
}

std::int64_t TableReader::whole(const std::string& key, std::int64_t low, std::int64_t high) {
  const std::string expected = fmt::format("a whole number from {} to {}", low, high);
  if (!has(key)) fail(key, "no value", expected, "add it");
  const auto& node = *node_->table->get(key);
  if (!node.is_integer()) fail(key, describe(node), expected);
  const std::int64_t value = node.as_integer()->get();
  if (value < low || value > high) fail(key, describe(node), expected);
  return value;
}

double TableReader::checked_number(const std::string& key, const void* value, Range range) const {
  const auto& node = *static_cast<const toml::node*>(value);
  const std::optional<double> number = as_double(node);
  // Written so that NaN fails too.
  if (!number || !(*number >= range.low && *number <= range.high)) {
    fail(key, describe(node), fmt::format("a number from {} to {}", range.low, range.high));
  }
  return *number;
}

double TableReader::number(const std::string& key, Range range) {
  if (!has(key)) {
    fail(key, "no value", fmt::format("a number from {} to {}", range.low, range.high), "add it");
  }
  return checked_number(key, node_->table->get(key), range);
}

double TableReader::number_or(const std::string& key, Range range, double fallback) {
  return has(key) ? number(key, range) : fallback;
}

std::vector<double> TableReader::numbers(const std::string& key, Range range) {
  if (!is_list(key)) return {number(key, range)};
  const auto& list = *node_->table->get(key)->as_array();
  if (list.empty()) fail(key, "an empty list", "at least one number");
  std::vector<double> values;
  for (const auto& element : list) values.push_back(checked_number(key, &element, range));
  return values;
}

Duration TableReader::duration(const std::string& key, Range range) {
  return to_duration(number(key, range), key);
}

Duration TableReader::duration_or(const std::string& key, Range range, Duration fallback) {
  return has(key) ? duration(key, range) : fallback;
}

std::vector<Duration> TableReader::durations(const std::string& key, Range range) {
  std::vector<Duration> values;
  for (const double value : numbers(key, range)) values.push_back(to_duration(value, key));
  return values;
}

TableReader TableReader::table(const std::string& key) {
  if (!has(key)) fail(key, "no value", "a table", "add it");
  const auto& node = *node_->table->get(key);
  if (!node.is_table()) fail(key, describe(node), "a table");
  return TableReader(std::make_shared<const Node>(Node{node_->root, node.as_table()}), file_,
                     name_.empty() ? key : name_ + "." + key);
}

std::optional<TableReader> TableReader::table_if(const std::string& key) {
  if (!has(key)) return std::nullopt;
  return table(key);
}

std::vector<TableReader> TableReader::tables(const std::string& key) {
  if (!has(key)) return {};
  const auto& node = *node_->table->get(key);
  if (!node.is_array_of_tables()) {
    fail(key, describe(node), fmt::format("tables, each begun by [[{}]]", key));
  }
  std::vector<TableReader> readers;
  for (const auto& element : *node.as_array()) {
    readers.push_back(
        TableReader(std::make_shared<const Node>(Node{node_->root, element.as_table()}), file_,
                    fmt::format("{} {}", key, readers.size() + 1)));
  }
  return readers;
}

std::vector<std::string> TableReader::table_names() const {
  std::vector<std::pair<toml::source_position, std::string>> found;
  for (const auto& [key, value] : *node_->table) {
    if (value.is_table()) found.emplace_back(value.source().begin, std::string(key.str()));
  }
  std::sort(found.begin(), found.end(),
            [](const auto& a, const auto& b) { return a.first < b.first; });
  std::vector<std::string> names;
  for (auto& [position, name] : found) names.push_back(std::move(name));
  return names;
}

void TableReader::finish() const {
  for (const auto& [key, value] : *node_->table) {
    const std::string name(key.str());
    if (asked_.contains(name)) continue;
    const std::string nearest = nearest_word(name, asked_);
    const auto begin = key.source().begin;
    throw InputError(
        {file_, static_cast<unsigned>(begin.line), static_cast<unsigned>(begin.column)},
        fmt::format("the unknown key \"{:.60}\"{}", name,
                    name_.empty() ? "" : fmt::format(" in \"{}\"", name_)),
        fmt::format("one of {}", fmt::join(asked_, ", ")),
        nearest.empty() ? "take it out" : fmt::format("did you mean \"{}\"?", nearest));
  }
}

StrikeSpeed strike_speed_from_m_s(double m_s) { return {std::llround(m_s * 1e6)}; }

std::string nearest_word(std::string_view word, const std::set<std::string>& candidates) {
  std::string nearest;
  std::size_t smallest = std::max<std::size_t>(word.size() / 2, 2);
  for (const auto& candidate : candidates) {
    const std::size_t distance = edit_distance(word, candidate);
    if (distance <= smallest) {
      smallest = distance;
      nearest = candidate;
    }
  }
  return nearest;
}

}  // namespace plexor::base
