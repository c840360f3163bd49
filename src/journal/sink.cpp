#include "journal/sink.hpp"

#include <cstddef>
#include <utility>

#include "base/error.hpp"

namespace plexor::journal {
namespace {

/// Enough to make system calls rare, little enough to stay in the processor's cache.
constexpr std::size_t buffer_bytes = std::size_t{64} << 10;

}  // namespace

LatchingBuffer::LatchingBuffer(std::unique_ptr<Sink> sink) : sink_(std::move(sink)) {
  bytes_.reserve(2 * buffer_bytes);
}

bool LatchingBuffer::is_full() const { return bytes_.size() >= buffer_bytes; }

void LatchingBuffer::flush() {
  guarded([this] { write_out(); });
}

void LatchingBuffer::sync() {
  guarded([this] {
    write_out();
    sink_->sync();
  });
}

void LatchingBuffer::write_out() {
  if (bytes_.empty()) return;
  sink_->write(bytes_);
  bytes_.clear();
}

template <typename Act>
void LatchingBuffer::guarded(Act act) {
  check_alive();
  try {
    act();
  } catch (const base::RigFault& fault) {
    // Not tried again: after a failed write or sync the system may have dropped
    // the pages, and a second call would claim success for lost records.
    failure_ = fault.what();
    throw;
  }
}

void LatchingBuffer::check_alive() const {
  if (!failure_.empty()) throw base::RigFault(failure_);
}

}  // namespace plexor::journal
