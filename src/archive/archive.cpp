#include "archive/archive.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <map>
#include <set>
#include <string_view>
#include <utility>

#include "archive/columns.hpp"
#include "archive/database.hpp"
#include "archive/migrations.hpp"
#include "archive/run_store.hpp"
#include "archive/selection.hpp"

namespace plexor::archive {

namespace {

using analysis::DeviceFigures;
using analysis::Hole;
using analysis::HourOfDay;
using analysis::RunFigures;

constexpr std::size_t runs_per_transaction =
    1000;  // ids are random: each page is written once in each

std::vector<Imported> store_all(soci::session& session, const Dialect& dialect,
                                std::span<const RunFigures> runs) {
  RunStore store(session, dialect);
  std::vector<Imported> became;
  std::set<std::string_view> seen;
  for (const RunFigures& run : runs) {
    if (!seen.insert(run.run_id).second) store.finish();
    became.push_back(store.store(run));
  }
  store.finish();
  return became;
}

/// Reads the fields of a row in the order in which each_column_of_... tells them.
class FromRow {
 public:
  FromRow(const Row& row, std::size_t first) : row_(row), next_(first) {}
  template <typename Value>
  void operator()(std::string_view /*name*/, Value& value) {
    read_cell(row_.at(next_++), value);
  }

 private:
  const Row& row_;
  std::size_t next_;
};

std::string columns_of(const NamedRow& row) {
  return fmt::format("{}", fmt::join(row.names, ", "));
}

/// Puts what the tables hold together again.
class Found {
 public:
  explicit Found(const Query& query) : selection_(query) {}

  void read(soci::session& session) {
    const Part runs = of_runs();
    read_rows(session, runs.select, runs.row, [this](const Row& row) { take_run(row); });
    for (std::size_t first = 0; first < runs_.size(); first += runs_at_once) {
      for (const Part& part : of_their_rows(first)) {
        read_rows(session, part.select, part.row, [&](const Row& row) { (this->*part.take)(row); });
      }
    }
  }
  std::vector<RunFigures>& runs() { return runs_; }

  /// What read() asks, once.
  [[nodiscard]] std::vector<Statement> statements() const {
    std::vector<Statement> all{of_runs().select};
    if (runs_.empty()) return all;
    for (const Part& part : of_their_rows(0)) all.push_back(part.select);
    return all;
  }

 private:
  // So few that PostgreSQL looks them up one by one instead of reading a whole table.
  static constexpr std::size_t runs_at_once = 16;

  struct Part {
    Statement select;
    Row row;
    void (Found::*take)(const Row&);
  };
  [[nodiscard]] Part of_runs() const;
  [[nodiscard]] std::vector<Part> of_their_rows(std::size_t first) const;
  RunFigures& run_of(const Row& row) { return runs_[index_.at(row[0].text)]; }

  void take_run(const Row& row) {
    each_column_of_run(runs_.emplace_back(), FromRow(row, 0));
    index_[runs_.back().run_id] = runs_.size() - 1;
  }
  void take_device(const Row& row) {
    RunFigures& run = run_of(row);
    places_[{row[0].text, row[1].integer}] = run.devices.size();
    each_column_of_device(run.devices.emplace_back(), FromRow(row, 2));
  }
  void take_hour(const Row& row) {
    const auto place = places_.find({row[0].text, row[1].integer});
    if (place == places_.end()) return;  // of a device that was not asked for
    HourOfDay& hour =
        run_of(row).devices[place->second].by_hour.at(static_cast<std::size_t>(row[2].integer));
    each_column_of_hour(hour, FromRow(row, 3));
  }
  void take_hole(const Row& row) {
    each_column_of_hole(run_of(row).holes.emplace_back(), FromRow(row, 1));
  }

  Selection selection_;
  std::vector<RunFigures> runs_{};
  std::map<std::string, std::size_t> index_{};
  /// Where in its run a device stands, by the run's id and its number among all devices.
  std::map<std::pair<std::string, long long>, std::size_t> places_{};
};

Found::Part Found::of_runs() const {
  NamedRow run;
  each_column_of_run(RunFigures{}, run);
  return {selection_.runs(columns_of(run)), run.cells, &Found::take_run};
}

std::vector<Found::Part> Found::of_their_rows(std::size_t first) const {
  Row run_ids;
  for (std::size_t i = first; i < std::min(runs_.size(), first + runs_at_once); ++i) {
    run_ids.push_back(cell_of(runs_[i].run_id));
  }
  NamedRow device;
  device("run_id", std::string());
  device("nth", 0);
  NamedRow hour = device;
  each_column_of_device(DeviceFigures{}, device);
  hour("hour", 0);
  each_column_of_hour(HourOfDay{}, hour);
  NamedRow hole;
  hole("run_id", std::string());
  each_column_of_hole(Hole{}, hole);
  return {{selection_.devices(columns_of(device), run_ids), device.cells, &Found::take_device},
          {rows_of("device_hour", columns_of(hour), "nth, hour", run_ids), hour.cells,
           &Found::take_hour},
          {rows_of("hole", columns_of(hole), "nth", run_ids), hole.cells, &Found::take_hole}};
}

/// With the newest nights as a first night; nothing where there are no such runs.
std::optional<Query> with_first_night(soci::session& session, const Query& query) {
  if (!query.newest_nights) return query;
  std::optional<Query> bounded;
  read_rows(session, Selection(query).first_of_newest(*query.newest_nights),
            {cell_of(std::string())}, [&](const Row& row) {
              if (row[0].known != soci::i_ok) return;
              bounded = query;
              bounded->from_night = row[0].text;
            });
  return bounded;
}

/// What EXPLAIN answers: a line of text; of SQLite behind three numbers.
Row explained_row(Engine engine) {
  Row row;
  if (engine == Engine::sqlite) row.assign(3, cell_of(0));
  row.push_back(cell_of(std::string()));
  return row;
}

}  // namespace

Archive::Archive(const Address& address) : database_(std::make_unique<Database>(address)) {
  bring_up_to_date(*database_);
}
Archive::~Archive() = default;
Archive::Archive(Archive&&) noexcept = default;
Archive& Archive::operator=(Archive&&) noexcept = default;

Imported Archive::import(const RunFigures& run) { return import(std::span(&run, 1)).front(); }

std::vector<Imported> Archive::import(std::span<const RunFigures> runs) {
  std::vector<Imported> all;
  while (!runs.empty()) {
    const auto some = runs.first(std::min(runs.size(), runs_per_transaction));
    std::vector<Imported> became;
    database_->transact(Database::Access::write, [&](soci::session& session) {
      became = store_all(session, database_->dialect(), some);
    });
    all.insert(all.end(), became.begin(), became.end());
    runs = runs.subspan(some.size());
  }
  return all;
}

std::vector<RunFigures> Archive::find(const Query& query) {
  std::vector<RunFigures> runs;
  database_->transact(Database::Access::read, [&](soci::session& session) {
    const std::optional<Query> bounded = with_first_night(session, query);
    Found found(bounded.value_or(query));
    if (bounded) found.read(session);
    runs = std::move(found.runs());
  });
  return runs;
}

std::string Archive::plan_of(const Query& query) {
  std::string plan;
  database_->transact(Database::Access::read, [&](soci::session& session) {
    plan.clear();
    std::vector<Statement> statements;
    if (query.newest_nights) {
      statements.push_back(Selection(query).first_of_newest(*query.newest_nights));
    }
    Found found(with_first_night(session, query).value_or(query));
    found.read(session);
    for (Statement& one : found.statements()) statements.push_back(std::move(one));
    for (Statement& statement : statements) {
      statement.sql.insert(0, database_->dialect().explain);
      read_rows(session, statement, explained_row(database_->address().engine),
                [&plan](const Row& row) { plan += row.back().text + '\n'; });
    }
  });
  return plan;
}

}  // namespace plexor::archive
