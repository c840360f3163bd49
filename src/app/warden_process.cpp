#include "app/warden_process.hpp"

#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <csignal>
#include <cstdlib>
#include <filesystem>
#include <system_error>

#include "base/error.hpp"

namespace plexor::app {

namespace {

using lines::KernelInstant;
using namespace std::chrono_literals;

constexpr base::Duration starting = 5s;
constexpr base::Duration ending = 1s;
constexpr base::Duration look_for_end = 2ms;

/// In memory, not on a disk that can stall; unlinked as soon as both sides have it.
std::string free_board_file() {
  return "/dev/shm/plexor-board-" + std::to_string(getpid()) + "-" +
         std::to_string(lines::kernel_now().time_since_epoch().count());
}

}  // namespace

WardenProcess::WardenProcess(const std::string& rig_file)
    : board_file_(free_board_file()), board_(safety::Board::create(board_file_)) {
  try {
    start(rig_file);
    wait_for_first_tick();
  } catch (...) {
    unlink(board_file_.c_str());
    end();
    throw;
  }
  unlink(board_file_.c_str());
}

void WardenProcess::start(const std::string& rig_file) {
  const std::string program =
      std::filesystem::read_symlink("/proc/self/exe").replace_filename("plexor-warden").string();
  std::array<std::string, 7> words{
      program, "--rig", rig_file, "--board", board_file_, "--controller", std::to_string(getpid())};
  std::array<char*, words.size() + 1> arguments{};
  for (std::size_t i = 0; i < words.size(); ++i) arguments[i] = words[i].data();
  const int error =
      posix_spawn(&process_, program.c_str(), nullptr, nullptr, arguments.data(), environ);
  if (error == 0) return;
  process_ = 0;
  throw base::RigFault("the warden " + program + ": " + std::generic_category().message(error));
}

void WardenProcess::wait_for_first_tick() {
  const KernelInstant give_up = lines::kernel_now() + starting;
  while (board_.warden().ticks == 0) {
    if (has_ended()) throw base::RigFault("the warden ended before it began; nothing was moved");
    if (lines::kernel_now() > give_up) throw base::RigFault("the warden does not begin");
    lines::kernel_nap(look_for_end);
  }
}

bool WardenProcess::has_ended() {
  if (process_ == 0) return true;
  if (waitpid(process_, nullptr, WNOHANG) == 0) return false;
  process_ = 0;
  return true;
}

WardenProcess::~WardenProcess() { end(); }

void WardenProcess::end() {
  if (has_ended()) return;
  kill(process_, SIGTERM);
  const KernelInstant give_up = lines::kernel_now() + ending;
  while (!has_ended() && lines::kernel_now() < give_up) lines::kernel_nap(look_for_end);
  if (process_ == 0) return;
  kill(process_, SIGKILL);
  waitpid(process_, nullptr, 0);
}

}  // namespace plexor::app
