#pragma once

#include <string>

#include "archive/query.hpp"
#include "archive/table.hpp"

// Inside the room only: a query as SQL.

namespace plexor::archive {

/// A SELECT with the columns that it is asked for, in the order of find().
class Selection {
 public:
  explicit Selection(const Query& query);

  [[nodiscard]] Statement runs(const std::string& columns) const;
  /// Of some runs: those alone that are asked for.
  [[nodiscard]] Statement devices(const std::string& columns, const Row& run_ids) const;
  /// The first of the newest nights in which there are such runs; without a value where there are
  /// none.
  [[nodiscard]] Statement first_of_newest(std::uint32_t nights) const;

 private:
  [[nodiscard]] Statement where() const;

  Statement run_;     ///< conditions on `run r`
  Statement device_;  ///< on `device d`: unit and release
  Statement nights_;  ///< on `device d`: the same nights as the run's
};

/// Of any table whose rows belong to runs, of some of them; `order`: of the rows of one run.
[[nodiscard]] Statement rows_of(const std::string& table, const std::string& columns,
                                const std::string& order, const Row& run_ids);

}  // namespace plexor::archive
