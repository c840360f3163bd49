#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <string>
#include <string_view>

#include "journal/records.hpp"

namespace plexor::journal {

/// Where journal bytes go: a file, or a test's faulty stand-in. Both functions
/// throw base::RigFault naming the file and the system's reason; after the first
/// failure the sink must not be used again.
class Sink {
 public:
  virtual ~Sink() = default;
  virtual void write(std::string_view bytes) = 0;
  /// Returns when everything written so far survives a power cut.
  virtual void sync() = 0;
};

/// Creates (never overwrites) a journal file; its folder entry is durable too.
/// Throws base::RigFault.
[[nodiscard]] std::unique_ptr<Sink> create_journal_file(const std::filesystem::path& path);

/// Opens an existing journal to append to it. Call recover_tail (reader.hpp)
/// first, and go on with the sequence number that read_journal gives as the
/// next. Throws base::RigFault.
[[nodiscard]] std::unique_ptr<Sink> open_journal_file(const std::filesystem::path& path);

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
  void check_alive() const;
  void write_out();
  template <typename Act>
  void guarded(Act act);

  std::unique_ptr<Sink> sink_;
  std::string buffer_;
  std::uint64_t next_ = 0;
  std::uint64_t durable_ = 0;
  std::string failure_;  ///< empty while all is well
};

/// One line as it stands in a journal: {"crc":"xxxxxxxx",...}\n. Exposed for tests and format
/// checks.
void append_line(std::string& out, std::uint64_t sequence, const Record& record);

}  // namespace plexor::journal
