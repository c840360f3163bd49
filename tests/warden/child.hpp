#pragma once

#include <sys/wait.h>
#include <unistd.h>

#include <csignal>
#include <functional>

namespace plexor {

/// A child process that is gone at the latest with the test.
class Child {
 public:
  explicit Child(const std::function<void()>& life) : process_(fork()) {
    if (process_ != 0) return;
    life();
    _exit(0);
  }
  ~Child() {
    if (process_ > 0) {
      kill(process_, SIGKILL);
      waitpid(process_, nullptr, 0);
    }
  }
  Child(const Child&) = delete;
  Child& operator=(const Child&) = delete;
  void signal(int number) const { kill(process_, number); }
  [[nodiscard]] pid_t process() const { return process_; }

 private:
  pid_t process_;
};

}  // namespace plexor
