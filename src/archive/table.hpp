#pragma once

#include <soci/soci.h>

#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "archive/cell.hpp"

// Inside the room only: rows into tables and out of them.

namespace plexor::archive {

/// A row with the names of its columns.
struct NamedRow {
  std::vector<std::string> names;
  Row cells;

  template <typename Value>
  void operator()(std::string_view name, const Value& value) {
    names.emplace_back(name);
    cells.push_back(cell_of(value));
  }
};

/// Many rows in few statements. Until finish() the last ones have not been sent.
class Insertion {
 public:
  /// `before`: what these rows refer to, and must be there before them.
  Insertion(soci::session& session, std::string_view table, Insertion* before = nullptr)
      : session_(session), table_(table), before_(before) {}

  /// Each with the same columns.
  void add(NamedRow row);
  void finish();

 private:
  /// A prepared statement with the cells that it sends.
  struct Bound {
    Row cells{};
    std::unique_ptr<soci::statement> statement{};
  };
  void send();
  Bound& bound_for(std::size_t rows);

  soci::session& session_;
  std::string table_;
  Insertion* before_;
  std::vector<std::string> names_{};
  std::vector<Row> waiting_{};
  std::map<std::size_t, Bound> bound_{};  ///< by the number of rows
};

/// SQL with a ? for each value.
struct Statement {
  std::string sql{};
  Row values{};
};

/// Gives `row` to `each` for each row that `select` finds; what it holds before tells the kinds.
void read_rows(soci::session& session, Statement select, Row row,
               const std::function<void(const Row&)>& each);

}  // namespace plexor::archive
