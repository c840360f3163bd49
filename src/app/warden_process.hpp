#pragma once

#include <sys/types.h>

#include <string>

#include "safety/board.hpp"

namespace plexor::app {

/// The warden beside this process: started with a board of their own, ended with it.
class WardenProcess {
 public:
  /// Starts the program plexor-warden that lies beside this one and waits for
  /// its first tick. Throws base::RigFault if it does not come.
  explicit WardenProcess(const std::string& rig_file);
  /// Asks it to end, and sees to it that it has.
  ~WardenProcess();
  WardenProcess(const WardenProcess&) = delete;
  WardenProcess& operator=(const WardenProcess&) = delete;

  /// The controller's side of the board.
  [[nodiscard]] const safety::Board& board() const { return board_; }

 private:
  void start(const std::string& rig_file);
  void wait_for_first_tick();
  [[nodiscard]] bool has_ended();
  void end();

  std::string board_file_;
  safety::Board board_;
  pid_t process_ = 0;
};

}  // namespace plexor::app
