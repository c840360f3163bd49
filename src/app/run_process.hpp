#pragma once

#include <sys/types.h>

#include <optional>
#include <string>
#include <vector>

namespace plexor::app {

/// This program once more, as a process of its own, that ends in order (as by SIGTERM) when this
/// one is gone, however that came about: nothing taps unwatched.
class RunProcess {
 public:
  /// `words`: what stands behind the program's name. Throws base::RigFault if it can't begin.
  explicit RunProcess(std::vector<std::string> words);
  /// Asks it to stop and waits for it.
  ~RunProcess();
  RunProcess(const RunProcess&) = delete;
  RunProcess& operator=(const RunProcess&) = delete;

  /// Its exit code once it has ended; 128 and the signal's number if a signal ended it.
  [[nodiscard]] std::optional<int> exit_code();
  /// A stop in order; it goes on until it has ended.
  void ask_to_stop();

 private:
  pid_t process_ = 0;
  std::optional<int> exit_code_{};
};

}  // namespace plexor::app
