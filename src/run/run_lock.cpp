#include "run/run_lock.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <unistd.h>

#include <cerrno>
#include <utility>

#include "base/error.hpp"

namespace plexor::run {

namespace {

int open_folder(const std::filesystem::path& folder) {
  return ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
}

}  // namespace

RunLock::RunLock(const std::filesystem::path& folder) : folder_(open_folder(folder)) {
  if (folder_ >= 0 && ::flock(folder_, LOCK_EX | LOCK_NB) == 0) return;
  const bool is_held = errno == EWOULDBLOCK;
  const std::string reason = base::last_reason();
  if (folder_ >= 0) ::close(folder_);
  if (!is_held) {
    throw base::RigFault(fmt::format("cannot lock {}: {}; choose a folder on a local disk",
                                     folder.string(), reason));
  }
  throw base::InputError({folder.string(), 0, 0}, "a run that still goes on",
                         "one that was interrupted", "wait for its end, or stop it first");
}

RunLock::RunLock(RunLock&& other) noexcept : folder_(std::exchange(other.folder_, -1)) {}

RunLock::~RunLock() {
  if (folder_ >= 0) ::close(folder_);
}

bool is_live(const std::filesystem::path& folder) {
  const int descriptor = open_folder(folder);
  if (descriptor < 0) return false;
  const bool is_held = ::flock(descriptor, LOCK_SH | LOCK_NB) != 0 && errno == EWOULDBLOCK;
  ::close(descriptor);
  return is_held;
}

}  // namespace plexor::run
