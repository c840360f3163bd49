#pragma once

#include "analysis/history/run_figures.hpp"
#include "archive/archive.hpp"
#include "archive/database.hpp"
#include "archive/table.hpp"

// Inside the room only.

namespace plexor::archive {

/// Stores runs within a transaction that somebody else began and ends.
class RunStore {
 public:
  RunStore(soci::session& session, const Dialect& dialect);
  ~RunStore() = default;
  RunStore(const RunStore&) = delete;
  RunStore& operator=(const RunStore&) = delete;

  Imported store(const analysis::RunFigures& run);
  /// Before the transaction's end, and before a run is stored a second time in it.
  void finish();

 private:
  struct Stored {
    std::string hash;  ///< empty: there is none
    double duration_s = 0.0;
    std::string ended;
  };
  [[nodiscard]] Stored stored(const std::string& run_id);
  void insert(const analysis::RunFigures& run, const std::string& hash);
  void insert_device(const analysis::RunFigures& run, int nth);

  soci::session& session_;
  std::string look_up_;
  Insertion runs_;
  Insertion devices_;
  Insertion hours_;
  Insertion holes_;
};

}  // namespace plexor::archive
