#pragma once

#include <soci/soci.h>

#include <functional>
#include <string>
#include <string_view>

#include "archive/address.hpp"

// Inside the room only: whoever includes this compiles SOCI.

namespace plexor::archive {

/// All in which the two engines differ for us.
struct Dialect {
  std::string_view begin_writing;  ///< whoever writes waits for its turn here
  std::string_view begin_reading;  ///< one state of the database for all its statements
  std::string_view lock_schema;    ///< so that one process at a time makes or changes the tables
  std::string_view has_version;    ///< how many tables of versions there are
  std::string_view text;           ///< the type; compared byte by byte
  std::string_view identity;       ///< the type of a number that the database gives
  std::string_view now_ms;         ///< the database's clock, Unix time
  std::string_view lock_row;       ///< after a SELECT of what will be changed
  std::string_view lock_free_row;  ///< the same, passing over what somebody else has locked
  std::string_view explain;        ///< before a SELECT
};

/// One connection. For one thread.
class Database {
 public:
  /// Throws base::InputError where there is nothing to connect to.
  explicit Database(Address address);

  [[nodiscard]] const Address& address() const { return address_; }
  [[nodiscard]] const Dialect& dialect() const { return dialect_; }

  enum class Access : std::uint8_t { read, write };

  /// Does `work` in one transaction: all of it or nothing. It may be begun anew, some times, where
  /// another process was in the way or the connection was lost, also after a commit whose answer
  /// was lost: so it must bear being done twice. Throws base::RigFault for what the database
  /// refuses, and whatever `work` throws.
  void transact(Access access, const std::function<void(soci::session&)>& work);

 private:
  void connect();
  void open_sqlite();
  void open_postgresql();
  void use_write_ahead_log();
  void try_once(Access access, const std::function<void(soci::session&)>& work);
  [[nodiscard]] bool is_lost();
  [[nodiscard]] bool may_succeed_again(const soci::soci_error& error);
  [[nodiscard]] std::string reason_of(const soci::soci_error& error) const;
  [[noreturn]] void refuse(const soci::soci_error& error) const;

  Address address_;
  const Dialect& dialect_;
  soci::session session_{};
};

}  // namespace plexor::archive
