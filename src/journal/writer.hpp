#pragma once

#include <cstdint>
#include <memory>
#include <string>

#include "journal/records.hpp"
#include "journal/sink.hpp"

namespace plexor::journal {

/// Appends records to a sink. The first failed write latches: every later call
/// throws the same base::RigFault, so nothing can go on unrecorded.
class Writer {
 public:
  explicit Writer(std::unique_ptr<Sink> sink, std::uint64_t first_sequence = 0);

  /// Buffers one record and returns its sequence number. Throws base::InputError
  /// for a record whose line the reader would refuse as too long (16 MiB) and
  /// std::logic_error for a number outside FORMAT.md's ranges; neither latches.
  std::uint64_t append(const Record& record);
  /// Hands the buffered lines to the operating system (survives this process, not a power cut).
  void flush();
  /// Group commit: flush, and make everything appended so far survive a power cut.
  void sync();

  /// Records that survive a power cut: all with a sequence number below this.
  [[nodiscard]] std::uint64_t durable() const { return durable_; }
  [[nodiscard]] std::uint64_t next_sequence() const { return next_; }

 private:
  LatchingBuffer buffer_;
  std::uint64_t next_ = 0;
  std::uint64_t durable_ = 0;
};

/// One line as it stands in a journal: {"crc":"xxxxxxxx",...}\n. Exposed for tests and format
/// checks.
void append_line(std::string& out, std::uint64_t sequence, const Record& record);

}  // namespace plexor::journal
