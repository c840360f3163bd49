#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "base/error.hpp"
#include "base/strike_speed.hpp"
#include "base/surface_point.hpp"
#include "base/time.hpp"

namespace plexor::base {

/// Reads one TOML table the way every plexor file is read: each value has a
/// type and a range, each key that nobody asked for is an error that names the
/// nearest key somebody did ask for. All functions throw InputError with file,
/// line, what was found and what was expected.
///
/// Ask for every key, then call finish(). Units stand in the key; numbers are
/// given in that unit and converted to whole nanoseconds or micrometres per second.
class TableReader {
 public:
  /// A number's allowed range, both ends included. NaN and infinity are never allowed.
  struct Range {
    double low;
    double high;
  };

  /// Parses a whole file's text. `file` is only used in messages.
  [[nodiscard]] static TableReader parse(std::string_view text, const std::string& file);

  [[nodiscard]] bool has(const std::string& key);

  [[nodiscard]] std::string text(const std::string& key);
  [[nodiscard]] std::string text_or(const std::string& key, const std::string& fallback);
  /// One of `choices`, else an error that lists them.
  [[nodiscard]] std::string choice(const std::string& key, const std::vector<std::string>& choices);
  /// A list of at least one text.
  [[nodiscard]] std::vector<std::string> texts(const std::string& key);
  [[nodiscard]] bool flag_or(const std::string& key, bool fallback);
  [[nodiscard]] std::int64_t whole(const std::string& key, std::int64_t low, std::int64_t high);
  [[nodiscard]] double number(const std::string& key, Range range);
  [[nodiscard]] double number_or(const std::string& key, Range range, double fallback);
  /// A list of at least one number, or a single number as a list of one.
  [[nodiscard]] std::vector<double> numbers(const std::string& key, Range range);

  /// Durations: `key` ends in _ms or _s, which says the unit; `range` is in that unit.
  [[nodiscard]] Duration duration(const std::string& key, Range range);
  [[nodiscard]] Duration duration_or(const std::string& key, Range range, Duration fallback);
  [[nodiscard]] std::vector<Duration> durations(const std::string& key, Range range);
  /// A list of pairs `[[low, high], ...]`, low <= high; may be empty.
  [[nodiscard]] std::vector<std::pair<Duration, Duration>> duration_ranges(const std::string& key,
                                                                           Range range);

  /// Where on the surface: [x, y] in millimetres.
  [[nodiscard]] SurfacePoint surface_point(const std::string& key);

  /// A sub-table, which must be there.
  [[nodiscard]] TableReader table(const std::string& key);
  /// A sub-table, if it is there.
  [[nodiscard]] std::optional<TableReader> table_if(const std::string& key);
  /// An array of tables; empty if it is not there.
  [[nodiscard]] std::vector<TableReader> tables(const std::string& key);
  /// The names of all sub-tables, in order of appearance in the file.
  [[nodiscard]] std::vector<std::string> table_names() const;
  /// True if the value of `key` is itself a table (`{ mean = 1, cv = 0.1 }`).
  [[nodiscard]] bool is_table(const std::string& key);
  /// True if the value of `key` is an array (`[0.3, 0.6]`).
  [[nodiscard]] bool is_list(const std::string& key);

  /// Call first on a whole file: refuses a `format` newer than this build reads, before any key
  /// that only the newer format knows. A file without the key is of format 1.
  void refuse_newer_format(int newest);

  /// Call last: throws for the first key that nobody asked for.
  void finish() const;

  /// Where this table (or the value of `key` in it) stands.
  [[nodiscard]] Place place() const;
  [[nodiscard]] Place place(const std::string& key) const;
  /// "block 2" or "rhythm.call": for messages.
  [[nodiscard]] const std::string& name() const { return name_; }

  [[noreturn]] void fail(const std::string& key, const std::string& found,
                         const std::string& expected, const std::string& remedy = {}) const;

 private:
  struct Node;
  explicit TableReader(std::shared_ptr<const Node> node, std::string file, std::string name);

  [[nodiscard]] double checked_number(const std::string& key, const void* value, Range range) const;

  std::shared_ptr<const Node> node_;
  std::string file_;
  std::string name_;
  std::set<std::string> asked_;
};

/// Metres per second as a file gives them, to whole micrometres per second.
[[nodiscard]] StrikeSpeed strike_speed_from_m_s(double m_s);

/// The candidate with the smallest edit distance to `word`; empty if none is near.
[[nodiscard]] std::string nearest_word(std::string_view word,
                                       const std::set<std::string>& candidates);

}  // namespace plexor::base
