#pragma once

#include <sys/resource.h>
#include <sys/syscall.h>
#include <unistd.h>

namespace plexor::run {

/// While it lives this process may ask for neither real time nor locked memory, unless it is
/// root's.
class WithoutRights {
 public:
  WithoutRights() {
    lower(RLIMIT_RTPRIO, priority_);
    lower(RLIMIT_MEMLOCK, memory_);
  }
  ~WithoutRights() {
    setrlimit(RLIMIT_RTPRIO, &priority_);
    setrlimit(RLIMIT_MEMLOCK, &memory_);
  }
  WithoutRights(const WithoutRights&) = delete;
  WithoutRights& operator=(const WithoutRights&) = delete;

  /// The calling thread alone, and the threads that it starts: the kernel's own call, not the
  /// library's.
  static void become_nobody() {
    constexpr int nobody = 65534;
    if (geteuid() == 0) syscall(SYS_setresuid, nobody, nobody, nobody);
  }

 private:
  template <typename Which>
  static void lower(Which which, rlimit& before) {
    getrlimit(which, &before);
    rlimit none = before;
    none.rlim_cur = 0;
    setrlimit(which, &none);
  }

  rlimit priority_{};
  rlimit memory_{};
};

}  // namespace plexor::run
