#include <sys/wait.h>
#include <unistd.h>

#include <cstdio>
#include <exception>

#include "archive/bench.hpp"

namespace plexor::archive {

namespace {

pid_t begin_process(const std::function<void()>& work) {
  const pid_t process = fork();
  if (process != 0) return process;
  try {
    work();
  } catch (const std::exception& error) {
    (void)std::fprintf(stderr, "%s\n", error.what());
    _exit(1);
  }
  _exit(0);
}

}  // namespace

int failed_of(const std::vector<std::function<void()>>& processes) {
  std::vector<pid_t> begun;
  for (const auto& work : processes) begun.push_back(begin_process(work));
  int failed = 0;
  for (const pid_t process : begun) {
    int status = -1;
    waitpid(process, &status, 0);
    if (status != 0) ++failed;
  }
  return failed;
}

}  // namespace plexor::archive
