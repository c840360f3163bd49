#include "rig/prepare.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <fmt/ranges.h>
#include <poll.h>
#include <signal.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <system_error>
#include <vector>

#include "base/error.hpp"
#include "lines/lines.hpp"
#include "rig/line_text.hpp"

namespace plexor::rig {

namespace {

using lines::KernelInstant;
using namespace std::chrono_literals;

/// A child in a process group of its own, gone at the latest with this.
class Child {
 public:
  explicit Child(const std::vector<std::string>& command) {
    int ends[2];
    if (pipe2(ends, O_CLOEXEC) != 0) fail(command, errno);
    output_ = ends[0];
    fcntl(output_, F_SETFL,
          O_NONBLOCK);  // ours alone: a command may not expect its output to refuse
    const int error = spawn(command, ends[1]);
    close(ends[1]);
    if (error == 0) return;
    close(output_);
    fail(command, error);
  }
  ~Child() {
    if (!ended_) {
      kill_all();
      waitpid(process_, &status_, 0);
    }
    close(output_);
  }
  Child(const Child&) = delete;
  Child& operator=(const Child&) = delete;

  void kill_all() const { ::kill(-process_, SIGKILL); }
  [[nodiscard]] bool has_ended() {
    ended_ = ended_ || waitpid(process_, &status_, WNOHANG) == process_;
    return ended_;
  }
  [[nodiscard]] std::optional<int> exit_code() const {
    if (!WIFEXITED(status_)) return std::nullopt;
    return WEXITSTATUS(status_);
  }
  /// Adds what has been said, waiting for that a little. True if there is more.
  bool hear(std::string& said) const {
    constexpr int patience_ms = 20;
    pollfd readable{output_, POLLIN, 0};
    if (poll(&readable, 1, patience_ms) > 0 && (readable.revents & POLLIN) == 0) {
      lines::kernel_nap(20ms);  // it has closed its outputs, and lives
    }
    std::array<char, 4096> buffer{};
    for (ssize_t bytes = 0; (bytes = read(output_, buffer.data(), buffer.size())) > 0;) {
      said.append(buffer.data(), static_cast<std::size_t>(bytes));
      if (said.size() > 2 * CommandEnd::longest_output) {
        said.erase(0, said.size() - CommandEnd::longest_output);
        return true;  // the time has to be looked at
      }
    }
    return false;
  }

 private:
  int spawn(const std::vector<std::string>& command, int output) {
    std::vector<std::string> words = command;
    std::vector<char*> arguments;
    arguments.reserve(words.size() + 1);
    for (std::string& word : words) arguments.push_back(word.data());
    arguments.push_back(nullptr);
    posix_spawn_file_actions_t files;
    posix_spawn_file_actions_init(&files);
    posix_spawn_file_actions_addopen(&files, STDIN_FILENO, "/dev/null", O_RDONLY, 0);
    posix_spawn_file_actions_adddup2(&files, output, STDOUT_FILENO);
    posix_spawn_file_actions_adddup2(&files, output, STDERR_FILENO);
    posix_spawnattr_t attributes;
    posix_spawnattr_init(&attributes);
    posix_spawnattr_setflags(&attributes, POSIX_SPAWN_SETPGROUP | POSIX_SPAWN_SETSIGMASK);
    posix_spawnattr_setpgroup(&attributes, 0);
    sigset_t none;
    sigemptyset(&none);
    posix_spawnattr_setsigmask(&attributes, &none);
    const int error =
        posix_spawnp(&process_, arguments.front(), &files, &attributes, arguments.data(), environ);
    posix_spawnattr_destroy(&attributes);
    posix_spawn_file_actions_destroy(&files);
    return error;
  }

  [[noreturn]] static void fail(const std::vector<std::string>& command, int error) {
    throw base::RigFault(
        fmt::format("\"{}\" can't be started: {}; check \"command\" in "
                    "[device.prepare]",
                    command.front(), std::generic_category().message(error)));
  }

  pid_t process_ = 0;
  int output_ = -1;
  int status_ = 0;
  bool ended_ = false;
};

std::string end_of(const std::string& output) {
  constexpr std::size_t enough = 400;
  const std::string text = printable(output);
  return text.size() <= enough ? text : "..." + text.substr(text.size() - enough);
}

}  // namespace

CommandEnd run_command(const PrepareSettings& settings, const std::function<bool()>& stop) {
  const KernelInstant give_up = lines::kernel_now() + settings.timeout;
  Child child(settings.command);
  CommandEnd end;
  while (!child.has_ended() && end.stopped.empty()) {
    child.hear(end.output);
    if (stop()) end.stopped = "stopped by the user";
    if (lines::kernel_now() > give_up) {
      end.stopped = fmt::format("not done after {:g} s", base::to_s(settings.timeout));
    }
  }
  child.kill_all();  // and what it has left behind
  while (child.hear(end.output)) {
  }
  if (end.output.size() > CommandEnd::longest_output) {
    end.output.erase(0, end.output.size() - CommandEnd::longest_output);
  }
  if (end.stopped.empty()) end.exit_code = child.exit_code();
  return end;
}

std::optional<std::string> prepare(const Device& device, const std::function<bool()>& stop) {
  if (!device.prepare) return std::nullopt;
  const CommandEnd end = run_command(*device.prepare, stop);
  if (end.exit_code == 0) return end.output;
  const std::string how = !end.stopped.empty() ? end.stopped
                          : end.exit_code      ? fmt::format("exit code {}", *end.exit_code)
                                               : std::string("ended by a signal");
  throw base::RigFault(
      fmt::format("device \"{}\" could not be prepared by \"{}\" ({}); it said: {}", device.name,
                  fmt::join(device.prepare->command, " "), how,
                  end.output.empty() ? "nothing" : end_of(end.output)));
}

}  // namespace plexor::rig
