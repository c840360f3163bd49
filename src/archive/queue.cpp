#include "archive/queue.hpp"

#include <fmt/format.h>

#include <array>
#include <string_view>
#include <utility>

#include "archive/archive.hpp"
#include "archive/database.hpp"
#include "archive/run_store.hpp"
#include "archive/table.hpp"
#include "base/error.hpp"

namespace plexor::archive {

namespace {

using Access = Database::Access;

constexpr std::array<std::pair<WorkState, std::string_view>, 4> states{{
    {WorkState::waiting, "waiting"},
    {WorkState::claimed, "claimed"},
    {WorkState::recorded, "recorded"},
    {WorkState::refused, "refused"},
}};

WorkState state_of(const std::string& text) {
  for (const auto& [state, one] : states) {
    if (one == text) return state;
  }
  throw base::RigFault("queue: found the state \"" + text +
                       "\"; expected waiting, claimed, recorded or refused");
}

/// One that is neither recorded nor refused, and that this rig may do.
Statement open_work(const std::string& columns, const Claimant& who) {
  return {fmt::format("SELECT {} FROM work WHERE state IN ('waiting', 'claimed') AND "
                      "rig IN ('', ?) AND surface IN ('', ?)",
                      columns),
          {cell_of(who.rig), cell_of(who.surface)}};
}

struct Held {
  WorkState state = WorkState::waiting;
  std::int64_t attempt = 0;
  std::string run_id{};
};

/// Locked until the transaction ends.
Held held(soci::session& session, const Dialect& dialect, const Claim& claim) {
  std::optional<Held> found;
  read_rows(
      session,
      {fmt::format("SELECT state, attempt, run_id FROM work WHERE item = ?{}", dialect.lock_row),
       {cell_of(claim.item)}},
      {cell_of(std::string()), cell_of(0), cell_of(std::string())}, [&](const Row& row) {
        found = {state_of(row[0].text), row[1].integer,
                 row[2].known == soci::i_ok ? row[2].text : ""};
      });
  if (found) return *found;
  throw base::RigFault(fmt::format(
      "queue: found no item {}; expected the one that was claimed: somebody has deleted it",
      claim.item));
}

bool still_has(const Held& held, const Claim& claim) {
  return held.state == WorkState::claimed && held.attempt == claim.attempt;
}

WorkItem item_of(const Row& row) {
  WorkItem item;
  std::size_t next = 0;
  const auto read = [&](auto& value) { read_cell(row.at(next++), value); };
  read(item.item);
  read(item.work.scenario);
  read(item.work.rig);
  read(item.work.surface);
  read(item.work.priority);
  item.state = state_of(row.at(next++).text);
  read(item.attempts);
  read(item.claimed_by);
  read(item.reason);
  const Cell& lease = row.at(next++);
  if (item.state == WorkState::claimed) item.lease = std::chrono::milliseconds(lease.integer);
  if (row.at(next).known == soci::i_ok) item.run_id = row.at(next).text;
  return item;
}

}  // namespace

std::string to_text(WorkState state) {
  for (const auto& [one, text] : states) {
    if (one == state) return std::string(text);
  }
  return {};
}

std::vector<std::int64_t> Queue::add(const std::vector<NewWork>& works) {
  std::vector<std::int64_t> items;
  Database& database = archive_.database();
  database.transact(Access::write, [&](soci::session& session) {
    items.clear();
    for (const NewWork& work : works) {
      const Row values{cell_of(work.scenario), cell_of(work.scenario_text), cell_of(work.rig),
                       cell_of(work.surface), cell_of(work.priority)};
      read_rows(session,
                {fmt::format("INSERT INTO work (scenario, scenario_text, rig, surface, priority, "
                             "state, attempt, claimed_by, lease_ends_ms, queued_ms, reason) "
                             "VALUES (?, ?, ?, ?, ?, 'waiting', 0, '', 0, {}, '') RETURNING item",
                             database.dialect().now_ms),
                 values},
                {cell_of(0)}, [&](const Row& row) { items.push_back(row[0].integer); });
    }
  });
  return items;
}

std::vector<WorkItem> Queue::list() {
  std::vector<WorkItem> items;
  Database& database = archive_.database();
  const Row row{cell_of(0),
                cell_of(std::string()),
                cell_of(std::string()),
                cell_of(std::string()),
                cell_of(0),
                cell_of(std::string()),
                cell_of(0),
                cell_of(std::string()),
                cell_of(std::string()),
                cell_of(0),
                cell_of(std::string())};
  database.transact(Access::read, [&](soci::session& session) {
    items.clear();
    read_rows(session,
              {fmt::format("SELECT item, scenario, rig, surface, priority, state, attempt, "
                           "claimed_by, reason, lease_ends_ms - {}, run_id FROM work ORDER BY item",
                           database.dialect().now_ms),
               {}},
              row, [&](const Row& one) { items.push_back(item_of(one)); });
  });
  return items;
}

std::optional<Claim> Queue::claim(const Claimant& who, std::chrono::milliseconds lease) {
  std::optional<Claim> claim;
  Database& database = archive_.database();
  database.transact(Access::write, [&](soci::session& session) {
    claim.reset();
    Statement most_urgent = open_work("item, attempt + 1, scenario, scenario_text", who);
    most_urgent.sql += fmt::format(
        " AND (state = 'waiting' OR lease_ends_ms < {}) ORDER BY priority DESC, item LIMIT 1{}",
        database.dialect().now_ms, database.dialect().lock_free_row);
    read_rows(session, most_urgent,
              {cell_of(0), cell_of(0), cell_of(std::string()), cell_of(std::string())},
              [&](const Row& row) {
                claim = {row[0].integer, row[1].integer, row[2].text, row[3].text};
              });
    if (!claim) return;
    session << fmt::format(
        "UPDATE work SET state = 'claimed', attempt = :attempt, claimed_by = :rig, "
        "lease_ends_ms = {} + {} WHERE item = :item",
        database.dialect().now_ms, lease.count()),
        soci::use(claim->attempt), soci::use(who.rig), soci::use(claim->item);
  });
  return claim;
}

std::uint64_t Queue::open_for(const Claimant& who) {
  std::uint64_t open = 0;
  archive_.database().transact(Access::read, [&](soci::session& session) {
    read_rows(session, open_work("count(*)", who), {cell_of(0)},
              [&open](const Row& row) { read_cell(row[0], open); });
  });
  return open;
}

bool Queue::renew(const Claim& claim, std::chrono::milliseconds lease) {
  bool is_ours = false;
  Database& database = archive_.database();
  database.transact(Access::write, [&](soci::session& session) {
    is_ours = still_has(held(session, database.dialect(), claim), claim);
    if (!is_ours) return;
    session << fmt::format("UPDATE work SET lease_ends_ms = {} + {} WHERE item = :item",
                           database.dialect().now_ms, lease.count()),
        soci::use(claim.item);
  });
  return is_ours;
}

Finish Queue::finish(const Claim& claim, const analysis::RunFigures& run) {
  Finish finish = Finish::lease_lost;
  Database& database = archive_.database();
  database.transact(Access::write, [&](soci::session& session) {
    const Held item = held(session, database.dialect(), claim);
    const std::string run_id = storable(run.run_id);
    if (item.state == WorkState::recorded) {
      // The same once more: the answer to the first commit was lost.
      const bool was_this = item.attempt == claim.attempt && item.run_id == run_id;
      finish = was_this ? Finish::recorded : Finish::recorded_already;
      return;
    }
    finish = still_has(item, claim) ? Finish::recorded : Finish::lease_lost;
    if (finish == Finish::lease_lost) return;
    RunStore store(session, database.dialect());
    store.store(run);
    store.finish();
    session << "UPDATE work SET state = 'recorded', run_id = :run_id WHERE item = :item",
        soci::use(run_id), soci::use(claim.item);
  });
  return finish;
}

void Queue::give_back(const Claim& claim) {
  Database& database = archive_.database();
  database.transact(Access::write, [&](soci::session& session) {
    if (!still_has(held(session, database.dialect(), claim), claim)) return;
    session << "UPDATE work SET state = 'waiting' WHERE item = :item", soci::use(claim.item);
  });
}

void Queue::refuse(const Claim& claim, const std::string& reason) {
  Database& database = archive_.database();
  const std::string kept = storable(reason);
  database.transact(Access::write, [&](soci::session& session) {
    if (!still_has(held(session, database.dialect(), claim), claim)) return;
    session << "UPDATE work SET state = 'refused', reason = :reason WHERE item = :item",
        soci::use(kept), soci::use(claim.item);
  });
}

}  // namespace plexor::archive
