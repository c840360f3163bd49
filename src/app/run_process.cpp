#include "app/run_process.hpp"

#include <sys/prctl.h>
#include <sys/wait.h>
#include <unistd.h>

#include <csignal>
#include <filesystem>

#include "base/error.hpp"

namespace plexor::app {

namespace {

constexpr int ended_by_signal = 128;  // as shells say it
constexpr int not_begun = 127;

/// In the new process: nothing but system calls. Never returns.
[[noreturn]] void become(const char* program, char* const* arguments, pid_t parent) {
  prctl(PR_SET_PDEATHSIG, SIGTERM);
  if (getppid() == parent) execv(program, arguments);  // else it was gone before that
  _exit(not_begun);
}

}  // namespace

RunProcess::RunProcess(std::vector<std::string> words) {
  const std::string program = std::filesystem::read_symlink("/proc/self/exe").string();
  words.insert(words.begin(), program);
  std::vector<char*> arguments;
  arguments.reserve(words.size() + 1);
  for (std::string& word : words) arguments.push_back(word.data());
  arguments.push_back(nullptr);
  const pid_t parent = getpid();
  process_ = fork();
  if (process_ == 0) become(program.c_str(), arguments.data(), parent);
  if (process_ < 0) throw base::RigFault(program + " run: " + base::last_reason());
}

RunProcess::~RunProcess() {
  if (exit_code()) return;
  ask_to_stop();
  waitpid(process_, nullptr, 0);
}

std::optional<int> RunProcess::exit_code() {
  int status = 0;
  if (!exit_code_ && waitpid(process_, &status, WNOHANG) == process_) {
    exit_code_ = WIFEXITED(status) ? WEXITSTATUS(status) : ended_by_signal + WTERMSIG(status);
  }
  return exit_code_;
}

void RunProcess::ask_to_stop() {
  if (!exit_code_) kill(process_, SIGTERM);
}

}  // namespace plexor::app
