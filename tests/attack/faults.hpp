#pragma once

#include <sys/ptrace.h>
#include <sys/resource.h>

#include <cstdint>
#include <cstdio>
#include <functional>
#include <sstream>

#include "processes.hpp"

namespace plexor {

/// What a fault can reach: the processes as they run, and the bench they stand at.
struct Scene {
  Program& simulation;
  Program& controller;
  pid_t warden;
  std::filesystem::path coil_sensor;
  std::vector<pid_t>& frozen;  ///< threads that stand still; whoever froze them buries them
};

/// One thread stands still for ever, as in a deadlock; the others go on.
inline void freeze(const Scene& scene, pid_t thread) {
  if (thread == 0 || ptrace(PTRACE_ATTACH, thread, nullptr, nullptr) != 0) {
    throw std::runtime_error("thread " + std::to_string(thread) + " can't be frozen");
  }
  scene.frozen.push_back(thread);
}

/// Every write of the process that makes a file longer fails from now on.
inline void fill_disk(pid_t process) {
  const rlimit none{0, 0};
  prlimit(process, RLIMIT_FSIZE, &none, nullptr);
}

/// Writes over a number in the shared memory of controller and warden, from outside.
inline void corrupt_board(pid_t process, std::size_t offset, std::uint64_t value) {
  std::ifstream maps("/proc/" + std::to_string(process) + "/maps");
  for (std::string line; std::getline(maps, line);) {
    if (line.find("plexor-board") == std::string::npos) continue;
    std::size_t address = 0;
    std::istringstream(line) >> std::hex >> address;
    const int memory = open(("/proc/" + std::to_string(process) + "/mem").c_str(), O_WRONLY);
    const auto at = static_cast<off_t>(address + offset);
    if (pwrite(memory, &value, sizeof value, at) != sizeof value) perror("board");
    close(memory);
    return;
  }
  throw std::runtime_error("no board found");
}

struct Fault {
  const char* name;
  std::function<void(const Scene&)> strike;
  /// No current may flow later than this after it. What is under way when the
  /// fault comes has the slowest way out, the one-shot; a fault that ends no
  /// pulse lets the trial that is queued go on.
  base::Duration off_within;
};

inline const std::vector<Fault>& all_faults() {
  using namespace std::chrono_literals;
  constexpr base::Duration at_once = 110ms;           // the one-shot's 100 ms and two ticks
  constexpr base::Duration after_the_trial = 1500ms;  // at most one trial is queued
  constexpr std::size_t heartbeats = 8;               // behind the mark, see board.cpp
  static const std::vector<Fault> all{
      {"controller killed", [](const Scene& s) { s.controller.signal(SIGKILL); }, at_once},
      {"controller stopped", [](const Scene& s) { s.controller.signal(SIGSTOP); }, at_once},
      {"controller crashes", [](const Scene& s) { s.controller.signal(SIGSEGV); }, at_once},
      {"controller: pulse thread stuck",
       [](const Scene& s) { freeze(s, thread_named(s.controller.process(), "pulses")); }, at_once},
      {"controller: conductor stuck", [](const Scene& s) { freeze(s, s.controller.process()); },
       after_the_trial},
      {"controller interrupted", [](const Scene& s) { s.controller.signal(SIGINT); }, 700ms},
      {"controller terminated", [](const Scene& s) { s.controller.signal(SIGTERM); }, 700ms},
      {"terminal lost", [](const Scene& s) { s.controller.signal(SIGHUP); }, 700ms},
      {"warden killed", [](const Scene& s) { kill(s.warden, SIGKILL); }, at_once},
      {"warden stopped", [](const Scene& s) { kill(s.warden, SIGSTOP); }, at_once},
      {"warden crashes", [](const Scene& s) { kill(s.warden, SIGSEGV); }, at_once},
      {"warden stuck", [](const Scene& s) { freeze(s, s.warden); }, at_once},
      {"stop loop opened", [](const Scene& s) { s.simulation.type("loop open"); }, at_once},
      {"lid opened", [](const Scene& s) { s.simulation.type("lid open"); }, at_once},
      {"coil sensor unreadable",
       [](const Scene& s) { std::ofstream(s.coil_sensor) << "no figure"; }, 1200ms},
      {"disk full", [](const Scene& s) { fill_disk(s.controller.process()); }, after_the_trial},
      {"serial cable out", [](const Scene& s) { s.simulation.type("cable out"); }, 700ms},
      {"heartbeat counts back",
       [](const Scene& s) { corrupt_board(s.controller.process(), heartbeats, 0); }, at_once},
      {"heartbeat from the future",
       [](const Scene& s) {
         s.controller.signal(SIGSTOP);
         corrupt_board(s.controller.process(), heartbeats + 8, 1ULL << 62U);
       },
       at_once},
  };
  return all;
}

}  // namespace plexor
