#pragma once

#include <filesystem>
#include <string>

#include "rig/rig_file.hpp"
#include "safety/coil_memory.hpp"

namespace plexor::app {

/// This boot of this computer, now.
[[nodiscard]] safety::BootMoment boot_now();

/// What outlives a run, in files: the coil's memory and arm tickets. For real
/// rigs under $XDG_STATE_HOME/plexor (else ~/.local/state/plexor), by the rig's
/// name; for a simulated chip beside the chip's file, because its coil is as
/// new as the simulation. All functions throw base::RigFault if a file can't be written.
class RigState {
 public:
  explicit RigState(const rig::RigFile& rig);

  /// The whole text of a file, or nothing where there is none.
  [[nodiscard]] std::string coil_text() const;
  void keep_coil(const safety::CoilMemory& memory) const;

  [[nodiscard]] std::string ticket_text() const;
  void keep_ticket(const std::string& text) const;
  void drop_ticket() const;
  [[nodiscard]] const std::filesystem::path& ticket_file() const { return ticket_; }

  /// Whether somebody has been shown the cautions here before.
  [[nodiscard]] bool cautions_were_shown() const;
  void keep_that_cautions_were_shown() const;

 private:
  std::filesystem::path coil_;
  std::filesystem::path ticket_;
  std::filesystem::path cautions_;
};

/// Where a simulated chip's coil has its memory.
[[nodiscard]] std::filesystem::path coil_file_beside(const std::filesystem::path& chip);

}  // namespace plexor::app
