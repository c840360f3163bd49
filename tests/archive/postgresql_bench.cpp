#include "archive/postgresql_bench.hpp"
#include "archive/bench.hpp"
#include "archive/database.hpp"

namespace plexor::archive {

const Server& server() {
  static const Server one;
  return one;
}

Address fresh_archive() {
  static int next = 0;
  return address_of(server().url_of("bench_" + std::to_string(++next)));
}

void analyse_tables(Archive& archive) {
  archive.database().transact(Database::Access::write, [](soci::session& session) {
    session << "ANALYZE run, device, device_hour, hole";
  });
}

}  // namespace plexor::archive
