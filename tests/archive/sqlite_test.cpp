#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>

#include "archive/bench.hpp"
#include "archive/database.hpp"
#include "base/error.hpp"

// What only a file can do to us.

namespace plexor::archive {
namespace {

using testing::HasSubstr;

std::string refusal_of(const Address& address) {
  try {
    const Archive archive(address);
    return "";
  } catch (const base::InputError& error) {
    return error.what();
  }
}

TEST(SqliteArchive, AFileThatIsNoDatabaseIsTold) {
  const Address address = fresh_archive();
  std::filesystem::create_directories(std::filesystem::path(address.connection).parent_path());
  std::ofstream(address.connection) << "a letter to the potter, long enough to look like something";
  EXPECT_THAT(refusal_of(address), HasSubstr("name an SQLite file that may be written"));
}

TEST(SqliteArchive, AFolderIsTold) {
  const Address address = fresh_archive();
  std::filesystem::create_directories(address.connection);
  EXPECT_THAT(refusal_of(address), HasSubstr("unable to open database file"));
}

TEST(SqliteArchive, WritesAheadAndKeepsItsReferences) {
  Archive archive(fresh_archive());
  std::string mode;
  int foreign_keys = 0;
  archive.database().transact(Database::Access::read, [&](soci::session& session) {
    session << "PRAGMA journal_mode", soci::into(mode);
    session << "PRAGMA foreign_keys", soci::into(foreign_keys);
  });
  EXPECT_EQ(mode, "wal");
  EXPECT_EQ(foreign_keys, 1);
}

TEST(SqliteArchive, AReaderSeesOneStateWhileAnotherWrites) {
  const Address address = fresh_archive();
  Archive writer(address);
  Archive reader(address);
  int before = -1;
  int after = -1;
  reader.database().transact(Database::Access::read, [&](soci::session& session) {
    session << "SELECT count(*) FROM run", soci::into(before);
    writer.import(plain_run("a"));
    session << "SELECT count(*) FROM run", soci::into(after);
  });
  EXPECT_EQ(before, 0);
  EXPECT_EQ(after, 0);
  EXPECT_EQ(reader.find({}).size(), 1U);
}

}  // namespace
}  // namespace plexor::archive
