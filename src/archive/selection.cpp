#include "archive/selection.hpp"

#include <fmt/format.h>

#include <string_view>

namespace plexor::archive {

namespace {

void require(Statement& conditions, std::string_view column, const std::string& value) {
  if (value.empty()) return;
  conditions.sql += fmt::format(" AND {} ?", column);
  conditions.values.push_back(cell_of(value));
}

Statement& operator+=(Statement& statement, const Statement& more) {
  statement.sql += more.sql;
  statement.values.insert(statement.values.end(), more.values.begin(), more.values.end());
  return statement;
}

Statement operator+(Statement statement, const Statement& more) { return statement += more; }
Statement operator+(Statement statement, std::string_view sql) {
  statement.sql += sql;
  return statement;
}

Statement among(const Row& run_ids) {
  std::string sql = " WHERE run_id IN (?";
  for (std::size_t i = 1; i < run_ids.size(); ++i) sql += ", ?";
  return {sql + ")", run_ids};
}

}  // namespace

Selection::Selection(const Query& query) {
  require(run_, "r.rig =", query.rig);
  require(run_, "r.surface =", query.surface);
  require(run_, "r.scenario =", query.scenario);
  require(run_, "r.night >=", query.from_night);
  require(run_, "r.night <=", query.to_night);
  if (!query.with_lifted) run_.sql += " AND r.lifted = 0";
  require(device_, "d.unit =", query.unit);
  require(device_, "d.release =", query.release);
  require(nights_, "d.night >=", query.from_night);
  require(nights_, "d.night <=", query.to_night);
}

/// Every condition begins with AND, so they stand behind one that always holds.
Statement Selection::where() const {
  Statement runs = Statement{" WHERE 1 = 1", {}} + run_;
  if (device_.sql.empty()) return runs;
  return runs + " AND r.run_id IN (SELECT d.run_id FROM device d WHERE 1 = 1" + device_ + nights_ +
         ")";
}

Statement Selection::runs(const std::string& columns) const {
  return Statement{fmt::format("SELECT {} FROM run r", columns), {}} + where() +
         " ORDER BY r.night, r.started_ns, r.run_id";
}

Statement Selection::devices(const std::string& columns, const Row& run_ids) const {
  return Statement{fmt::format("SELECT {} FROM device d", columns), {}} + among(run_ids) + device_ +
         " ORDER BY run_id, nth";
}

Statement rows_of(const std::string& table, const std::string& columns, const std::string& order,
                  const Row& run_ids) {
  return Statement{fmt::format("SELECT {} FROM {}", columns, table), {}} + among(run_ids) +
         fmt::format(" ORDER BY run_id, {}", order);
}

Statement Selection::first_of_newest(std::uint32_t nights) const {
  const bool by_device = !device_.sql.empty();
  const char night = by_device ? 'd' : 'r';
  Statement statement{
      fmt::format("SELECT min(night) FROM (SELECT DISTINCT {}.night FROM {} WHERE 1 = 1", night,
                  by_device ? "device d JOIN run r ON r.run_id = d.run_id" : "run r"),
      {}};
  statement += run_;
  if (by_device) statement += device_ + nights_;
  return statement + fmt::format(" ORDER BY {}.night DESC LIMIT {}) newest", night, nights);
}

}  // namespace plexor::archive
