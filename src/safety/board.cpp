#include "safety/board.hpp"

#include <new>

#include "base/error.hpp"
#include "lines/shared_memory.hpp"

namespace plexor::safety {

namespace {

constexpr std::uint64_t board_mark = 0x706c65786f722002;  // changes with the layout

std::uint32_t coded(const std::optional<WardenCause>& cause) {
  return cause ? static_cast<std::uint32_t>(*cause) + 1 : 0;
}

std::optional<WardenCause> cause_of(std::uint32_t code) {
  if (code == 0) return std::nullopt;
  return static_cast<WardenCause>(code - 1);
}

Reading reading_of(const std::optional<bool>& good) {
  if (!good) return Reading::unknown;
  return *good ? Reading::good : Reading::bad;
}

lines::KernelInstant instant_of(std::int64_t ns) {
  return lines::KernelInstant{base::Duration{ns}};
}

}  // namespace

struct Board::Notes {
  std::atomic<std::uint64_t> mark{0};
  // From the controller.
  std::atomic<std::uint64_t> beats{0};
  std::atomic<std::int64_t> beat_at_ns{0};
  std::atomic<bool> power_wanted{false};
  std::atomic<std::uint64_t> acknowledged{0};
  // From the warden.
  std::atomic<std::uint64_t> ticks{0};
  std::atomic<std::int64_t> tick_at_ns{0};
  std::atomic<Reading> loop{Reading::unknown};
  std::atomic<Reading> lid{Reading::unknown};
  std::atomic<Reading> coil{Reading::unknown};
  std::atomic<bool> powered{false};
  std::atomic<std::uint32_t> standing{0};
  std::atomic<std::uint32_t> tripped{0};
  std::atomic<std::uint64_t> trips{0};
};

Board Board::create(const std::string& file) {
  auto memory = lines::create_shared_memory(file, sizeof(Notes));
  auto notes = std::shared_ptr<Notes>(memory, new (memory.get()) Notes);
  notes->mark.store(board_mark, std::memory_order_release);
  return Board(std::move(notes));
}

Board Board::open(const std::string& file) {
  auto notes = std::static_pointer_cast<Notes>(lines::open_shared_memory(file, sizeof(Notes)));
  if (notes->mark.load(std::memory_order_acquire) != board_mark) {
    throw base::RigFault("shared memory " + file + ": no board of this version");
  }
  return Board(std::move(notes));
}

void Board::beat(lines::KernelInstant now) {
  // The stamp first: whoever sees the count sees a stamp at least as new.
  notes_->beat_at_ns.store(now.time_since_epoch().count());
  notes_->beats.fetch_add(1);
}

void Board::want_power(bool wanted) { notes_->power_wanted.store(wanted); }

void Board::acknowledge(std::uint64_t trips) { notes_->acknowledged.store(trips); }

Board::WardenState Board::warden() const {
  return {.at = instant_of(notes_->tick_at_ns.load()),
          .ticks = notes_->ticks.load(),
          .loop = notes_->loop.load(),
          .lid = notes_->lid.load(),
          .coil = notes_->coil.load(),
          .powered = notes_->powered.load(),
          .standing = cause_of(notes_->standing.load()),
          .tripped = cause_of(notes_->tripped.load()),
          .trips = notes_->trips.load()};
}

void Board::read_controller(Evidence& evidence) const {
  evidence.heartbeat = notes_->beats.load();
  evidence.heartbeat_at = instant_of(notes_->beat_at_ns.load());
  evidence.power_wanted = notes_->power_wanted.load();
  evidence.acknowledged_trips = notes_->acknowledged.load();
}

void Board::publish(const Evidence& evidence, const WardenDuty& duty, const Orders& orders) {
  notes_->loop.store(reading_of(evidence.loop_closed));
  notes_->lid.store(reading_of(evidence.lid_closed));
  notes_->coil.store(evidence.coil_on ? reading_of(!*evidence.coil_on) : Reading::unknown);
  notes_->powered.store(orders.enable);
  notes_->standing.store(coded(duty.standing()));
  notes_->tripped.store(coded(duty.tripped()));
  notes_->trips.store(duty.trips());
  notes_->tick_at_ns.store(evidence.now.time_since_epoch().count());
  notes_->ticks.fetch_add(1);
}

}  // namespace plexor::safety
