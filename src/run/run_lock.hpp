#pragma once

#include <filesystem>

namespace plexor::run {

/// Held by whoever taps and listens for a run, from begin to end: nobody else goes on with it, and
/// whoever reads its folder sees that it is not over. Gone with the process, however that ends.
class RunLock {
 public:
  /// Throws base::InputError if the run goes on in another process, base::RigFault if the folder
  /// can't be locked.
  explicit RunLock(const std::filesystem::path& folder);
  ~RunLock();
  RunLock(RunLock&& other) noexcept;
  RunLock(const RunLock&) = delete;
  RunLock& operator=(const RunLock&) = delete;
  RunLock& operator=(RunLock&&) = delete;

 private:
  int folder_;
};

/// Somebody holds the lock of the run in this folder.
[[nodiscard]] bool is_live(const std::filesystem::path& folder);

}  // namespace plexor::run
