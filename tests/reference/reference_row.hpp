#pragma once

#include <cstdint>
#include <filesystem>
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"

// Reads the check files; README.txt says what their columns mean.

namespace plexor::reference {

/// The parts of a text between separators, empty ones left out.
std::vector<std::string> split(std::string_view text, std::string_view separators);

/// One line of comma-separated values; fields may be quoted, with "" for a quote.
/// Throws base::InputError naming `place` if a quote is misplaced or never closed.
std::vector<std::string> parse_csv_line(std::string_view line, const base::Place& place);

/// A decimal number, inf or -inf. Throws base::InputError naming `place`.
double parse_number(std::string_view text, const base::Place& place);

/// The inputs of one row: key=value pairs separated by semicolons. What is
/// missing or can't be read throws base::InputError naming the row's place.
class Inputs {
 public:
  Inputs() = default;
  Inputs(std::string_view text, base::Place place);

  [[nodiscard]] bool has(const std::string& key) const { return values_.contains(key); }
  [[nodiscard]] const std::string& text(const std::string& key) const;
  [[nodiscard]] std::string text_or(const std::string& key, const std::string& otherwise) const;
  [[nodiscard]] double number(const std::string& key) const;
  [[nodiscard]] std::uint64_t count(const std::string& key) const;
  [[nodiscard]] std::vector<double> numbers(const std::string& key) const;  ///< blank-separated
  [[nodiscard]] const base::Place& place() const { return place_; }

 private:
  base::Place place_;
  std::map<std::string, std::string> values_;
};

struct Tolerance {
  enum class Kind : std::uint8_t { exact, absolute, relative };
  Kind kind = Kind::exact;
  double value = 0.0;
};

/// "1e-9", "abs:0.1", "rel:0.001", "0" or "exact". Throws base::InputError naming `place`.
Tolerance parse_tolerance(const std::string& text, const base::Place& place);

/// One published or independently computed value.
struct Row {
  base::Place place;
  std::string check_id;
  std::string quantity;
  Inputs inputs;
  std::string expected;
  Tolerance tolerance;
};

/// All rows of a file, none if it has no column check_id (then it is no check file).
/// Throws base::InputError naming file and line of a row that can't be read.
std::vector<Row> read_rows(const std::filesystem::path& file);

/// Every *.csv in the folder itself, in the order of names. Throws base::InputError
/// if the folder can't be read or has none.
std::vector<std::filesystem::path> csv_files(const std::filesystem::path& folder);

}  // namespace plexor::reference
