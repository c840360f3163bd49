#include "archive/table.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <utility>

namespace plexor::archive {

namespace {

constexpr std::size_t most_rows = 32;  // more gain little, and each engine bounds the values

/// "(:v0, :v1), (:v2, :v3)"
std::string placeholders(std::size_t rows, std::size_t columns) {
  std::string text;
  for (std::size_t cell = 0; cell < rows * columns; ++cell) {
    const bool is_first = cell % columns == 0;
    text += fmt::format("{}{}:v{}", is_first && cell > 0 ? "), (" : "", is_first ? "" : ", ", cell);
  }
  return "(" + text + ")";
}

/// "= ? AND ... ?" -> "= :v0 AND ... :v1": SOCI knows names only.
std::string numbered(const std::string& sql) {
  std::string text;
  int value = 0;
  for (const char c : sql) {
    if (c == '?') {
      text += fmt::format(":v{}", value++);
    } else {
      text += c;
    }
  }
  return text;
}

}  // namespace

void Insertion::add(NamedRow row) {
  names_ = std::move(row.names);
  waiting_.push_back(std::move(row.cells));
  if (waiting_.size() == most_rows) send();
}

void Insertion::finish() {
  if (!waiting_.empty()) send();
}

Insertion::Bound& Insertion::bound_for(std::size_t rows) {
  Bound& bound = bound_[rows];
  if (bound.statement) return bound;
  for (const Row& row : waiting_) bound.cells.insert(bound.cells.end(), row.begin(), row.end());
  bound.statement = std::make_unique<soci::statement>(session_);
  bound.statement->alloc();
  bound.statement->prepare(fmt::format("INSERT INTO {} ({}) VALUES {}", table_,
                                       fmt::join(names_, ", "), placeholders(rows, names_.size())));
  for (Cell& cell : bound.cells) give(*bound.statement, cell);
  bound.statement->define_and_bind();
  return bound;
}

void Insertion::send() {
  if (before_ != nullptr) before_->finish();
  Bound& bound = bound_for(waiting_.size());
  auto cell = bound.cells.begin();
  for (Row& row : waiting_) cell = std::move(row.begin(), row.end(), cell);
  waiting_.clear();
  bound.statement->execute(true);
}

void read_rows(soci::session& session, Statement select, Row row,
               const std::function<void(const Row&)>& each) {
  soci::statement statement(session);
  statement.alloc();
  statement.prepare(numbered(select.sql));
  for (Cell& cell : row) take(statement, cell);
  for (Cell& value : select.values) give(statement, value);
  statement.define_and_bind();
  statement.execute();
  while (statement.fetch()) each(row);
}

}  // namespace plexor::archive
