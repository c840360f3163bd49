#include "archive/database.hpp"

#include <fmt/format.h>
#include <soci/postgresql/soci-postgresql.h>
#include <soci/sqlite3/soci-sqlite3.h>

#include <algorithm>
#include <array>
#include <filesystem>
#include <system_error>
#include <utility>

#include "base/error.hpp"

namespace plexor::archive {

namespace {

// SQLite waits so long for another's lock, before we ask once more.
constexpr int lock_wait_s = 10;
constexpr int most_tries = 8;

constexpr Dialect sqlite_dialect{
    .begin_writing = "BEGIN IMMEDIATE",
    .begin_reading = "BEGIN",
    .lock_schema = "",
    .has_version = "SELECT count(*) FROM sqlite_master WHERE name = 'archive_version'",
    .text = "TEXT",
    .identity = "INTEGER PRIMARY KEY AUTOINCREMENT",
    .now_ms = "CAST((julianday('now') - 2440587.5) * 86400000 AS INTEGER)",
    .lock_row = "",
    .lock_free_row = "",
    .explain = "EXPLAIN QUERY PLAN ",
};

constexpr Dialect postgresql_dialect{
    .begin_writing = "BEGIN ISOLATION LEVEL READ COMMITTED, READ WRITE",
    .begin_reading = "BEGIN ISOLATION LEVEL REPEATABLE READ, READ ONLY",
    .lock_schema = "SELECT pg_advisory_xact_lock(7021953188471605)",  // any number, but our own
    .has_version =
        "SELECT count(*) FROM information_schema.tables WHERE table_schema = "
        "current_schema() AND table_name = 'archive_version'",
    .text = "TEXT COLLATE \"C\"",
    .identity = "BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY",
    .now_ms = "CAST(extract(epoch FROM clock_timestamp()) * 1000 AS BIGINT)",
    .lock_row = " FOR UPDATE",
    .lock_free_row = " FOR UPDATE SKIP LOCKED",
    .explain = "EXPLAIN ",
};

int sqlite_result(const soci::soci_error& error) {
  const auto* sqlite = dynamic_cast<const soci::sqlite3_soci_error*>(&error);
  constexpr int primary = 0xff;
  return sqlite == nullptr ? SQLITE_OK : sqlite->result() & primary;
}

std::string sqlstate(const soci::soci_error& error) {
  const auto* postgresql = dynamic_cast<const soci::postgresql_soci_error*>(&error);
  return postgresql == nullptr ? "" : postgresql->sqlstate();
}

/// Rolls back unless committed; a connection that is gone has rolled back by itself.
class Transaction {
 public:
  Transaction(soci::session& session, std::string_view begin) : session_(session) {
    session_ << begin;
  }
  ~Transaction() {
    if (committed_) return;
    try {
      session_ << "ROLLBACK";
    } catch (const soci::soci_error&) {  // the error that led here is the one to be told
    }
  }
  Transaction(const Transaction&) = delete;
  Transaction& operator=(const Transaction&) = delete;

  void commit() {
    session_ << "COMMIT";
    committed_ = true;
  }

 private:
  soci::session& session_;
  bool committed_ = false;
};

}  // namespace

Database::Database(Address address)
    : address_(std::move(address)),
      dialect_(address_.engine == Engine::sqlite ? sqlite_dialect : postgresql_dialect) {
  try {
    connect();
  } catch (const soci::soci_error& error) {
    throw base::InputError({address_.shown, 0, 0}, fmt::format("\"{}\"", reason_of(error)),
                           "an archive that can be opened",
                           address_.engine == Engine::sqlite
                               ? "name an SQLite file that may be written, or a new one"
                               : "check host, port, database, user and that the server runs");
  }
}

void Database::connect() {
  if (address_.engine == Engine::sqlite) {
    open_sqlite();
  } else {
    open_postgresql();
  }
}

void Database::open_sqlite() {
  const std::filesystem::path folder = std::filesystem::path(address_.connection).parent_path();
  std::error_code unmade;  // opening the file tells it then
  if (!folder.empty()) std::filesystem::create_directories(folder, unmade);
  session_.open(soci::sqlite3,
                fmt::format("dbname=\"{}\" timeout={}", address_.connection, lock_wait_s));
  session_ << "PRAGMA foreign_keys = ON";
  // What a statement of many rows might have to take back, and what a transaction has changed, are
  // kept in memory: in files they were nearly all that a large import wrote.
  session_ << "PRAGMA temp_store = MEMORY";
  session_ << "PRAGMA cache_size = -65536";  // KiB
  use_write_ahead_log();
}

/// SQLite does not wait for others when it changes to the log, so we wait for their turn to end.
void Database::use_write_ahead_log() {
  std::string mode;
  for (int tries = 0; tries < most_tries && mode != "wal"; ++tries) {
    try {
      session_ << "PRAGMA journal_mode = WAL", soci::into(mode);
    } catch (const soci::soci_error& error) {
      if (sqlite_result(error) != SQLITE_BUSY) throw;
      Transaction(session_, dialect_.begin_writing).commit();
    }
  }
  if (mode == "wal") return;
  throw base::InputError({address_.shown, 0, 0},
                         "a file system on which SQLite can't keep a write-ahead log",
                         "a file on a local disk", "or a postgresql:// URL for several computers");
}

void Database::open_postgresql() {
  session_.open(soci::postgresql, address_.connection);
  session_ << "SET client_min_messages = warning";
  // An archive lies in memory, where a page out of turn costs hardly more than the next one
  // (PostgreSQL's manual, "Planner Cost Constants"). The default is for disks that turn, and reads
  // whole tables to spare them some hundred steps.
  session_ << "SET random_page_cost = 1.1";
  std::string encoding;
  session_ << "SHOW server_encoding", soci::into(encoding);
  if (encoding == "UTF8") return;
  throw base::InputError({address_.shown, 0, 0}, "a database with encoding " + encoding, "UTF8",
                         "make one: createdb --encoding UTF8 --template template0 NAME");
}

void Database::transact(Access access, const std::function<void(soci::session&)>& work) {
  for (int tries = 1;; ++tries) {
    try {
      return try_once(access, work);
    } catch (const soci::soci_error& error) {
      if (tries == most_tries || !may_succeed_again(error)) refuse(error);
    }
  }
}

void Database::try_once(Access access, const std::function<void(soci::session&)>& work) {
  if (is_lost()) {
    session_.close();
    connect();
  }
  Transaction transaction(
      session_, access == Access::write ? dialect_.begin_writing : dialect_.begin_reading);
  work(session_);
  transaction.commit();
}

bool Database::is_lost() {
  if (address_.engine == Engine::sqlite) return false;
  const auto* backend =
      static_cast<const soci::postgresql_session_backend*>(session_.get_backend());
  return backend == nullptr || PQstatus(backend->conn_) != CONNECTION_OK;
}

bool Database::may_succeed_again(const soci::soci_error& error) {
  const int result = sqlite_result(error);
  if (result == SQLITE_BUSY || result == SQLITE_LOCKED) return true;
  // Serialisation failure, deadlock, and two who stored the same run at once (PostgreSQL's manual,
  // appendix A).
  constexpr std::array<std::string_view, 3> in_the_way{"40001", "40P01", "23505"};
  return is_lost() || std::ranges::find(in_the_way, sqlstate(error)) != in_the_way.end();
}

/// In one line, without what SOCI says around it, and without the password wherever it came from.
std::string Database::reason_of(const soci::soci_error& error) const {
  std::string reason = error.get_error_message();
  constexpr std::string_view of_server = "ERROR:  ";
  const std::size_t told = reason.find(of_server);
  if (told != std::string::npos) reason.erase(0, told + of_server.size());
  while (!reason.empty() && (reason.back() == '\n' || reason.back() == ' ')) reason.pop_back();
  std::ranges::replace(reason, '\n', ' ');
  if (address_.password.empty()) return reason;
  for (std::size_t at = reason.find(address_.password); at != std::string::npos;
       at = reason.find(address_.password, at + 3)) {
    reason.replace(at, address_.password.size(), "...");
  }
  return reason;
}

void Database::refuse(const soci::soci_error& error) const {
  const int result = sqlite_result(error);
  const bool is_busy = result == SQLITE_BUSY || result == SQLITE_LOCKED;
  throw base::RigFault(fmt::format(
      "{}: {}; nothing was changed{}", address_.shown, reason_of(error),
      is_busy ? fmt::format("; another process held it for {} s", most_tries * lock_wait_s) : ""));
}

}  // namespace plexor::archive
