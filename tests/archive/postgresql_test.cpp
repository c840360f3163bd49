#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "archive/bench.hpp"
#include "archive/database.hpp"
#include "archive/postgresql_bench.hpp"
#include "archive/queue.hpp"
#include "base/error.hpp"

// What only a server can do to us.

namespace plexor::archive {
namespace {

using namespace std::chrono_literals;
using testing::AllOf;
using testing::HasSubstr;
using testing::Not;

const char* const end_all_connections =
    "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
    "WHERE application_name = 'plexor' AND pid <> pg_backend_pid()";

std::string refusal_of(const std::string& url) {
  try {
    const Archive archive(address_of(url));
    return "";
  } catch (const base::InputError& error) {
    return error.what();
  }
}

TEST(PostgresqlArchive, ConnectsAgainWhenTheServerHasClosedTheConnection) {
  Archive archive(fresh_archive());
  Queue queue(archive);
  queue.add({{"a", ""}});
  server().say(end_all_connections);
  EXPECT_EQ(archive.import(plain_run("a")), Imported::stored);
  server().say(end_all_connections);
  const auto claim = queue.claim({"north", ""}, 1min);
  ASSERT_TRUE(claim);
  server().say(end_all_connections);
  EXPECT_TRUE(queue.renew(*claim, 1min));
  server().say(end_all_connections);
  EXPECT_EQ(archive.find({}).size(), 1U);
}

TEST(PostgresqlArchive, DoesATransactionAnewThatTheServerCutOff) {
  Archive archive(fresh_archive());
  int times = 0;
  archive.database().transact(Database::Access::write, [&](soci::session& session) {
    if (++times == 1) server().say(end_all_connections);
    session << "UPDATE archive_version SET version = version";
  });
  EXPECT_EQ(times, 2);
}

TEST(PostgresqlArchive, AServerThatIsNotThereIsTold) {
  EXPECT_THAT(refusal_of("postgresql://anna:secret@/lab?host=/no/such/folder"),
              AllOf(HasSubstr("postgresql://anna@/no/such/folder/lab: found"),
                    HasSubstr("check host, port, database, user"), Not(HasSubstr("secret"))));
}

TEST(PostgresqlArchive, ADatabaseThatIsNotThereIsTold) {
  std::string url = server().url_of("no_database");
  url.replace(url.find("/postgres?"), 10, "/kiln?");
  EXPECT_THAT(refusal_of(url), HasSubstr("database \"kiln\" does not exist"));
}

TEST(PostgresqlArchive, AnotherEncodingIsRefused) {
  server().say("CREATE DATABASE latin ENCODING 'LATIN1' LOCALE 'C' TEMPLATE template0");
  std::string url = server().url_of("latin_schema");
  url.replace(url.find("/postgres?"), 10, "/latin?");
  EXPECT_THAT(refusal_of(url), HasSubstr("found a database with encoding LATIN1; expected UTF8"));
}

TEST(PostgresqlArchive, ARefusalNamesTheServerAndTheReason) {
  Archive archive(fresh_archive());
  try {
    archive.database().transact(Database::Access::write, [](soci::session& session) {
      session << "UPDATE no_such_table SET version = 1";
    });
    FAIL() << "done";
  } catch (const base::RigFault& fault) {
    EXPECT_THAT(fault.what(), AllOf(HasSubstr("postgresql://plexor@"),
                                    HasSubstr("relation \"no_such_table\" does not exist")));
  }
}

TEST(PostgresqlQueue, PassesOverWhatAnotherIsJustClaiming) {
  const Address address = fresh_archive();
  Archive archive(address);
  Queue queue(archive);
  const auto items = queue.add({{"a", ""}, {"b", ""}});
  Archive other(address);
  other.database().transact(Database::Access::write, [&](soci::session& session) {
    session << "UPDATE work SET priority = 5 WHERE item = :item", soci::use(items[0]);
    EXPECT_EQ(queue.claim({"north", ""}, 1min)->item, items[1]);
  });
}

}  // namespace
}  // namespace plexor::archive
