#include "reference/reference_row.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <fstream>
#include <system_error>
#include <utility>

namespace plexor::reference {

using base::InputError;
using base::Place;

namespace {

/// Where the columns stand that a check file must have.
struct Columns {
  std::size_t check_id = 0;
  std::size_t quantity = 0;
  std::size_t inputs = 0;
  std::size_t expected = 0;
  std::size_t tolerance = 0;
};

std::size_t column(const std::vector<std::string>& header, const std::string& name,
                   const Place& place) {
  const auto found = std::ranges::find(header, name);
  if (found == header.end())
    throw InputError(place, "no column " + name, "the columns that README.txt lists");
  return static_cast<std::size_t>(found - header.begin());
}

Columns columns_of(const std::vector<std::string>& header, const Place& place) {
  return {.check_id = column(header, "check_id", place),
          .quantity = column(header, "quantity", place),
          .inputs = column(header, "inputs", place),
          .expected = column(header, "expected", place),
          .tolerance = column(header, "tolerance", place)};
}

Row row_from(const std::vector<std::string>& fields, const Columns& columns, const Place& place) {
  return {.place = place,
          .check_id = fields[columns.check_id],
          .quantity = fields[columns.quantity],
          .inputs = Inputs(fields[columns.inputs], place),
          .expected = fields[columns.expected],
          .tolerance = parse_tolerance(fields[columns.tolerance], place)};
}

/// The next line without its line end (files come with \n or \r\n).
bool next_line(std::istream& in, std::string& line) {
  if (!std::getline(in, line)) return false;
  if (line.ends_with('\r')) line.pop_back();
  return true;
}

/// One field from `at` on; leaves `at` behind its last character.
std::string parse_field(std::string_view line, std::size_t& at, const Place& place) {
  if (at == line.size() || line[at] != '"') {
    const std::size_t end = std::min(line.find(',', at), line.size());
    std::string field(line.substr(at, end - at));
    if (field.find('"') != std::string::npos)
      throw InputError(place, "a quote inside an unquoted field", "quotes around the whole field");
    at = end;
    return field;
  }
  std::string field;
  for (++at; at < line.size(); ++at) {
    if (line[at] != '"') {
      field += line[at];
    } else if (at + 1 < line.size() && line[at + 1] == '"') {
      field += line[++at];
    } else {
      ++at;
      return field;
    }
  }
  throw InputError(place, "a quote that is never closed", "a closing quote on the same line");
}

}  // namespace

std::vector<std::string> split(std::string_view text, std::string_view separators) {
  std::vector<std::string> parts;
  std::size_t begin = 0;
  while ((begin = text.find_first_not_of(separators, begin)) != std::string_view::npos) {
    const std::size_t end = std::min(text.find_first_of(separators, begin), text.size());
    parts.emplace_back(text.substr(begin, end - begin));
    begin = end;
  }
  return parts;
}

std::vector<std::string> parse_csv_line(std::string_view line, const Place& place) {
  std::vector<std::string> fields;
  std::size_t at = 0;
  while (true) {
    fields.push_back(parse_field(line, at, place));
    if (at == line.size()) return fields;
    if (line[at] != ',')
      throw InputError(place, "text behind a closing quote", "a comma or the end of the line");
    ++at;
  }
}

double parse_number(std::string_view text, const Place& place) {
  double value = 0.0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc() || end != text.data() + text.size() || std::isnan(value))
    throw InputError(place, fmt::format("\"{}\"", text), "a number, inf or -inf");
  return value;
}

Tolerance parse_tolerance(const std::string& text, const Place& place) {
  if (text == "exact") return {};
  const bool relative = text.starts_with("rel:");
  const bool prefixed = relative || text.starts_with("abs:");
  const double value = parse_number(std::string_view(text).substr(prefixed ? 4 : 0), place);
  if (value < 0.0) throw InputError(place, "tolerance " + text, "a tolerance of 0 or above");
  if (value == 0.0) return {};
  return {relative ? Tolerance::Kind::relative : Tolerance::Kind::absolute, value};
}

Inputs::Inputs(std::string_view text, Place place) : place_(std::move(place)) {
  for (const std::string& pair : split(text, ";")) {
    const std::size_t equals = pair.find('=');
    if (equals == std::string::npos || equals == 0)
      throw InputError(place_, fmt::format("input \"{}\"", pair), "key=value");
    const bool is_new = values_.emplace(pair.substr(0, equals), pair.substr(equals + 1)).second;
    if (!is_new)
      throw InputError(place_, fmt::format("input {} twice", pair.substr(0, equals)), "it once");
  }
}

const std::string& Inputs::text(const std::string& key) const {
  const auto found = values_.find(key);
  if (found == values_.end()) throw InputError(place_, "no input " + key, key + "=...");
  return found->second;
}

std::string Inputs::text_or(const std::string& key, const std::string& otherwise) const {
  const auto found = values_.find(key);
  return found == values_.end() ? otherwise : found->second;
}

double Inputs::number(const std::string& key) const { return parse_number(text(key), place_); }

std::uint64_t Inputs::count(const std::string& key) const {
  const double value = number(key);
  if (value < 0.0 || value != std::floor(value) || value > 1e15)
    throw InputError(place_, fmt::format("{}={}", key, text(key)), "a count");
  return static_cast<std::uint64_t>(value);
}

std::vector<double> Inputs::numbers(const std::string& key) const {
  std::vector<double> values;
  for (const std::string& part : split(text(key), " "))
    values.push_back(parse_number(part, place_));
  return values;
}

std::vector<Row> read_rows(const std::filesystem::path& file) {
  std::ifstream in(file);
  Place place{.file = file.string(), .line = 1};
  std::string line;
  if (!next_line(in, line)) {
    if (in.bad() || !in.eof()) throw InputError(place, "a file that can't be read", "a CSV file");
    return {};
  }
  const std::vector<std::string> header = parse_csv_line(line, place);
  if (std::ranges::find(header, "check_id") == header.end()) return {};
  const Columns columns = columns_of(header, place);

  std::vector<Row> rows;
  while (next_line(in, line)) {
    ++place.line;
    if (line.empty()) continue;
    const std::vector<std::string> fields = parse_csv_line(line, place);
    if (fields.size() != header.size())
      throw InputError(place, fmt::format("{} fields", fields.size()),
                       fmt::format("{}, as in the header", header.size()));
    rows.push_back(row_from(fields, columns, place));
  }
  return rows;
}

std::vector<std::filesystem::path> csv_files(const std::filesystem::path& folder) {
  std::error_code error;
  std::vector<std::filesystem::path> files;
  for (const auto& entry : std::filesystem::directory_iterator(folder, error))
    if (entry.path().extension() == ".csv") files.push_back(entry.path());
  if (error) throw InputError({folder.string()}, error.message(), "a folder with check files");
  if (files.empty()) throw InputError({folder.string()}, "no *.csv", "check files");
  std::ranges::sort(files);
  return files;
}

}  // namespace plexor::reference
