#pragma once

#include <fcntl.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <iterator>
#include <stdexcept>
#include <string>
#include <utility>
#include <vector>

#include "lines/lines.hpp"

namespace plexor {

inline std::string text_of(const std::filesystem::path& file) {
  std::ifstream in(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

/// False if it does not come true in time.
template <typename What>
bool comes_true(base::Duration patience, What what) {
  const lines::KernelInstant give_up = lines::kernel_now() + patience;
  while (!what()) {
    if (lines::kernel_now() > give_up) return false;
    lines::kernel_nap(std::chrono::microseconds{500});
  }
  return true;
}

/// A program of ours, gone at the latest with this. Its words go to a file, what
/// it keeps for later runs into "state" beside that, and it reads what is typed.
class Program {
 public:
  Program(const std::vector<std::string>& words, const std::filesystem::path& output) {
    int keys[2];
    if (pipe2(keys, O_CLOEXEC) != 0) throw std::runtime_error("no pipe");
    process_ = fork();
    if (process_ == 0) become(words, output, keys[0]);
    close(keys[0]);
    keyboard_ = keys[1];
  }
  ~Program() {
    close(keyboard_);
    if (process_ <= 0) return;
    ::kill(process_, SIGKILL);
    waitpid(process_, nullptr, 0);
  }
  Program(const Program&) = delete;
  Program& operator=(const Program&) = delete;

  [[nodiscard]] pid_t process() const { return process_; }
  void signal(int number) const { ::kill(process_, number); }
  void type(const std::string& line) const {
    const std::string keys = line + "\n";
    if (write(keyboard_, keys.data(), keys.size()) < 0) throw std::runtime_error("no keyboard");
  }
  /// Whether it has ended; then it is gone.
  [[nodiscard]] bool has_ended() {
    if (process_ > 0 && waitpid(process_, nullptr, WNOHANG) == process_) process_ = 0;
    return process_ == 0;
  }

 private:
  [[noreturn]] static void become(const std::vector<std::string>& words,
                                  const std::filesystem::path& output, int keys) {
    const int file = open(output.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0600);
    setenv("XDG_STATE_HOME", (output.parent_path() / "state").c_str(), 1);
    dup2(keys, STDIN_FILENO);
    dup2(file, STDOUT_FILENO);
    dup2(file, STDERR_FILENO);
    std::vector<char*> arguments;
    for (const std::string& word : words) arguments.push_back(const_cast<char*>(word.c_str()));
    arguments.push_back(nullptr);
    execv(arguments[0], arguments.data());
    _exit(127);
  }

  pid_t process_ = 0;
  int keyboard_ = -1;
};

/// The child of a process whose program has this name; 0 if there is none.
inline pid_t child_named(pid_t parent, const std::string& name) {
  const std::string task = "/proc/" + std::to_string(parent) + "/task/";
  for (const auto& thread : std::filesystem::directory_iterator(task)) {
    std::ifstream in(thread.path() / "children");
    for (pid_t child = 0; in >> child;) {
      if (text_of("/proc/" + std::to_string(child) + "/comm") == name + "\n") return child;
    }
  }
  return 0;
}

/// The thread of a process that has this name; 0 if there is none.
inline pid_t thread_named(pid_t process, const std::string& name) {
  for (const auto& thread :
       std::filesystem::directory_iterator("/proc/" + std::to_string(process) + "/task")) {
    if (text_of(thread.path() / "comm") == name + "\n") return std::stoi(thread.path().filename());
  }
  return 0;
}

}  // namespace plexor
