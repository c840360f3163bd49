#include "safety/confinement.hpp"

#include <grp.h>
#include <sched.h>
#include <seccomp.h>
#include <sys/mman.h>
#include <sys/prctl.h>
#include <unistd.h>

#include <array>
#include <string>

#include "base/error.hpp"
#include "base/sanitized.hpp"

namespace plexor::safety {

namespace {

void require(bool done, const char* what) {
  if (done) return;
  throw base::RigFault(std::string("warden: ") + what + ": " + base::last_reason());
}

bool lock_memory() { return mlockall(MCL_CURRENT | MCL_FUTURE) == 0; }

bool ask_for_real_time() {
  constexpr sched_param above_the_controller{.sched_priority = 60};
  return sched_setscheduler(0, SCHED_FIFO, &above_the_controller) == 0;
}

void become_nobody() {
  if (geteuid() != 0) return;
  constexpr gid_t nogroup = 65534;
  constexpr uid_t nobody = 65534;
  require(setgroups(0, nullptr) == 0, "leaving groups");
  require(setresgid(nogroup, nogroup, nogroup) == 0, "leaving root's group");
  require(setresuid(nobody, nobody, nobody) == 0, "leaving root");
}

void keep_only_needed_calls() {
  // What the loop does, and what an orderly end does. No brk, no mmap: memory can't grow.
  constexpr std::array needed{SCMP_SYS(clock_gettime), SCMP_SYS(clock_nanosleep),
                              SCMP_SYS(nanosleep),     SCMP_SYS(restart_syscall),
                              SCMP_SYS(poll),          SCMP_SYS(ppoll),
                              SCMP_SYS(futex),         SCMP_SYS(ioctl),
                              SCMP_SYS(read),          SCMP_SYS(write),
                              SCMP_SYS(close),         SCMP_SYS(munmap),
                              SCMP_SYS(rt_sigreturn),  SCMP_SYS(rt_sigprocmask),
                              SCMP_SYS(getpid),        SCMP_SYS(exit),
                              SCMP_SYS(exit_group)};
  scmp_filter_ctx filter = seccomp_init(SCMP_ACT_KILL_PROCESS);
  require(filter != nullptr, "system call filter");
  int failed = 0;
  for (const int call : needed) failed |= seccomp_rule_add(filter, SCMP_ACT_ALLOW, call, 0);
  failed |= seccomp_load(filter);
  seccomp_release(filter);
  require(failed == 0, "system call filter");
}

}  // namespace

bool confine() {
  const bool locked = lock_memory();
  const bool real_time = ask_for_real_time();
  become_nobody();
  require(prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0) == 0, "giving up new rights");
  if (!base::is_sanitized) keep_only_needed_calls();
  return locked && real_time;
}

}  // namespace plexor::safety
