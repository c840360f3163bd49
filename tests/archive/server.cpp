#include "archive/server.hpp"

#include <fcntl.h>
#include <grp.h>
#include <libpq-fe.h>
#include <pwd.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <csignal>
#include <cstdlib>
#include <fstream>
#include <memory>
#include <sstream>
#include <stdexcept>
#include <thread>

namespace plexor::archive {

namespace {

using namespace std::chrono_literals;

/// PostgreSQL refuses to run as root.
void become_nobody() {
  const passwd* nobody = getpwnam("nobody");
  const bool is_done = nobody != nullptr && setgroups(0, nullptr) == 0 &&
                       setgid(nobody->pw_gid) == 0 && setuid(nobody->pw_uid) == 0;
  if (!is_done) _exit(126);
}

int exit_code_of(pid_t process) {
  int status = 0;
  waitpid(process, &status, 0);
  return WIFEXITED(status) ? WEXITSTATUS(status) : 127;
}

}  // namespace

Server::Server() {
  std::string name = std::filesystem::temp_directory_path() / "plexor-postgresql-XXXXXX";
  folder_ = mkdtemp(name.data());
  const passwd* nobody = getpwnam("nobody");
  if (geteuid() == 0 && chown(folder_.c_str(), nobody->pw_uid, nobody->pw_gid) != 0) fail("chown");
  make_cluster();
  process_ = begin({"postgres", "-D", folder_ / "data", "-k", folder_, "-c",
                    "listen_addresses=", "-c", "fsync=off", "-c", "full_page_writes=off", "-c",
                    "shared_buffers=32MB", "-c", "deadlock_timeout=100ms"});
  wait_until_it_answers();
}

Server::~Server() {
  if (process_ != 0) {
    kill(process_, SIGINT);  // its word for: at once, but in order
    waitpid(process_, nullptr, 0);
  }
  std::filesystem::remove_all(folder_);
}

pid_t Server::begin(const std::vector<std::string>& command) const {
  const std::string program = std::string(PLEXOR_POSTGRESQL_BIN) + "/" + command.at(0);
  const std::string log = folder_ / "log";
  std::vector<std::string> words = command;
  std::vector<char*> arguments;
  for (std::string& word : words) arguments.push_back(word.data());
  arguments.push_back(nullptr);
  const pid_t process = fork();
  if (process != 0) return process;
  if (geteuid() == 0) become_nobody();
  prctl(PR_SET_PDEATHSIG, SIGQUIT);  // its word for: at once; a change of user forgets it
  const int out = open(log.c_str(), O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
  dup2(out, STDOUT_FILENO);
  dup2(out, STDERR_FILENO);
  if (chdir(folder_.c_str()) == 0) execv(program.c_str(), arguments.data());
  _exit(125);
}

void Server::make_cluster() const {
  const pid_t process = begin({"initdb", "-D", folder_ / "data", "-U", "plexor", "-A", "trust",
                               "-E", "UTF8", "--locale=C", "--no-sync", "--no-instructions"});
  if (exit_code_of(process) != 0) fail("initdb");
}

void Server::wait_until_it_answers() {
  const std::string host = "host='" + folder_.string() + "' user=plexor dbname=postgres";
  for (int tries = 0; tries < 600; ++tries) {
    if (PQping(host.c_str()) == PQPING_OK) return;
    if (waitpid(process_, nullptr, WNOHANG) != 0) break;
    std::this_thread::sleep_for(50ms);
  }
  fail("postgres");
}

void Server::fail(const std::string& what) const {
  std::ostringstream said;
  said << what << ": " << std::ifstream(folder_ / "log").rdbuf();
  throw std::runtime_error(said.str());
}

std::string Server::url_of(const std::string& schema) const {
  say("CREATE SCHEMA " + schema);
  return "postgresql://plexor@/postgres?host=" + folder_.string() + "&options=-csearch_path%3D" +
         schema;
}

void Server::say(const std::string& sql) const {
  const std::string host = "host='" + folder_.string() + "' user=plexor dbname=postgres";
  const std::unique_ptr<PGconn, void (*)(PGconn*)> connection(PQconnectdb(host.c_str()), &PQfinish);
  const std::unique_ptr<PGresult, void (*)(PGresult*)> result(PQexec(connection.get(), sql.c_str()),
                                                              &PQclear);
  const ExecStatusType status = PQresultStatus(result.get());
  if (status != PGRES_COMMAND_OK && status != PGRES_TUPLES_OK) {
    throw std::runtime_error(PQerrorMessage(connection.get()));
  }
}

}  // namespace plexor::archive
