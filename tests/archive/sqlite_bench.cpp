#include <unistd.h>

#include <cstdlib>
#include <filesystem>

#include "archive/bench.hpp"
#include "archive/database.hpp"

namespace plexor::archive {

namespace {

/// A folder with a blank and an equals sign in its name, as people's folders have.
class TemporaryFolder {
 public:
  TemporaryFolder() {
    std::string name = std::filesystem::temp_directory_path() / "plexor night=1 XXXXXX";
    path_ = mkdtemp(name.data());
  }
  ~TemporaryFolder() { std::filesystem::remove_all(path_); }
  TemporaryFolder(const TemporaryFolder&) = delete;
  TemporaryFolder& operator=(const TemporaryFolder&) = delete;

  [[nodiscard]] const std::filesystem::path& path() const { return path_; }

 private:
  std::filesystem::path path_;
};

}  // namespace

Address fresh_archive() {
  static const TemporaryFolder folder;
  static int next = 0;
  return address_of(folder.path() / std::to_string(++next) / "archive.sqlite");
}

void analyse_tables(Archive& archive) {
  archive.database().transact(Database::Access::write,
                              [](soci::session& session) { session << "ANALYZE"; });
}

}  // namespace plexor::archive
