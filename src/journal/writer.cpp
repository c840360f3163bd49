#include "journal/writer.hpp"

#include <fmt/format.h>

#include <utility>

#include "base/error.hpp"
#include "journal/frame.hpp"

namespace plexor::journal {
namespace {

/// Enough to make system calls rare, little enough to stay in the processor's cache.
constexpr std::size_t buffer_bytes = std::size_t{64} << 10;

}  // namespace

Writer::Writer(std::unique_ptr<Sink> sink, std::uint64_t first_sequence)
    : sink_(std::move(sink)), next_(first_sequence), durable_(first_sequence) {
  buffer_.reserve(2 * buffer_bytes);
}

std::uint64_t Writer::append(const Record& record) {
  check_alive();
  const std::size_t begin = buffer_.size();
  try {
    append_line(buffer_, next_, record);
  } catch (...) {
    buffer_.resize(begin);  // no half line may precede what is appended later
    throw;
  }
  if (const std::size_t bytes = buffer_.size() - begin; bytes > max_line_bytes) {
    buffer_.resize(begin);
    throw base::InputError(
        fmt::format("a journal line of {} bytes is needed, but {} is the most; use shorter "
                    "scenario and rig files",
                    bytes, max_line_bytes));
  }
  const std::uint64_t sequence = next_++;
  if (buffer_.size() >= buffer_bytes) flush();
  return sequence;
}

void Writer::flush() {
  guarded([this] { write_out(); });
}

void Writer::sync() {
  guarded([this] {
    write_out();
    if (durable_ == next_) return;
    sink_->sync();
    durable_ = next_;
  });
}

void Writer::write_out() {
  if (buffer_.empty()) return;
  sink_->write(buffer_);
  buffer_.clear();
}

template <typename Act>
void Writer::guarded(Act act) {
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

void Writer::check_alive() const {
  if (!failure_.empty()) throw base::RigFault(failure_);
}

}  // namespace plexor::journal
