#pragma once

#include <sys/types.h>

#include <filesystem>
#include <string>
#include <vector>

namespace plexor::archive {

/// A PostgreSQL of the test's own in a temporary folder: reached by a socket in there and by
/// nothing else. It ends with this object, and at the latest with this process.
class Server {
 public:
  /// Throws std::runtime_error with what the server's programs said.
  Server();
  ~Server();
  Server(const Server&) = delete;
  Server& operator=(const Server&) = delete;

  /// Of a schema in its one database, empty at first.
  [[nodiscard]] std::string url_of(const std::string& schema) const;
  /// As psql would say it.
  void say(const std::string& sql) const;

 private:
  [[nodiscard]] pid_t begin(const std::vector<std::string>& command) const;
  void make_cluster() const;
  void wait_until_it_answers();
  [[noreturn]] void fail(const std::string& what) const;

  std::filesystem::path folder_;
  pid_t process_ = 0;
};

}  // namespace plexor::archive
