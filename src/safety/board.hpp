#pragma once

#include <atomic>
#include <cstdint>
#include <memory>
#include <string>

#include "lines/lines.hpp"
#include "safety/interlock.hpp"
#include "safety/warden_duty.hpp"

namespace plexor::safety {

/// The board on which controller and warden leave notes for each other: a piece
/// of shared memory, each field written by one side only. Nobody waits for
/// anybody: no lock, no allocation.
class Board {
 public:
  /// Makes a new board, or joins one. Both throw base::RigFault.
  [[nodiscard]] static Board create(const std::string& file);
  [[nodiscard]] static Board open(const std::string& file);

  // The controller's side.

  /// One more heartbeat, made now.
  void beat(lines::KernelInstant now);
  void want_power(bool wanted);
  /// A person has cleared the trips up to this count.
  void acknowledge(std::uint64_t trips);

  /// What the warden published at its last tick.
  struct WardenState {
    lines::KernelInstant at;
    std::uint64_t ticks = 0;
    Reading loop = Reading::unknown;  ///< good: closed
    Reading lid = Reading::unknown;   ///< good: closed
    Reading coil = Reading::unknown;  ///< good: no current
    bool powered = false;
    std::optional<WardenCause> standing;
    std::optional<WardenCause> tripped;
    std::uint64_t trips = 0;
  };
  [[nodiscard]] WardenState warden() const;

  // The warden's side.

  /// Fills in what the controller left.
  void read_controller(Evidence& evidence) const;
  void publish(const Evidence& evidence, const WardenDuty& duty, const Orders& orders);

 private:
  struct Notes;
  explicit Board(std::shared_ptr<Notes> notes) : notes_(std::move(notes)) {}
  std::shared_ptr<Notes> notes_;
};

}  // namespace plexor::safety
