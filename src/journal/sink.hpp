#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

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

/// A journal's file becomes a finished part when it is about so long: weeks stay readable in
/// pieces, and a part packs in half a second.
inline constexpr std::uint64_t usual_part_bytes = std::uint64_t{32} << 20;

/// Creates (never overwrites) a journal file; its folder entry is durable too. Beside it
/// finished parts are put and packed in the background. Throws base::RigFault.
[[nodiscard]] std::unique_ptr<Sink> create_journal_file(
    const std::filesystem::path& path, std::uint64_t longest_part = usual_part_bytes);

/// Opens an existing journal to append to it. Call recover_tail (reader.hpp)
/// first, and go on with the sequence number that read_journal gives as the
/// next. Throws base::RigFault.
[[nodiscard]] std::unique_ptr<Sink> open_journal_file(
    const std::filesystem::path& path, std::uint64_t longest_part = usual_part_bytes);

/// All files of a journal, in the order of what they hold.
[[nodiscard]] std::vector<std::filesystem::path> files_of_journal(
    const std::filesystem::path& path);

/// Bytes on their way to a sink. The first failed write latches: every later call throws the
/// same base::RigFault. Private to this room's writers.
class LatchingBuffer {
 public:
  explicit LatchingBuffer(std::unique_ptr<Sink> sink);

  /// What is not yet handed on; to append to, or to cut what was appended last.
  [[nodiscard]] std::string& bytes() { return bytes_; }
  /// Throws what failed first, if anything did.
  void check_alive() const;
  /// Enough has gathered to be worth a system call.
  [[nodiscard]] bool is_full() const;
  void flush();
  void sync();

 private:
  void write_out();
  template <typename Act>
  void guarded(Act act);

  std::unique_ptr<Sink> sink_;
  std::string bytes_;
  std::string failure_;  ///< empty while all is well
};

}  // namespace plexor::journal
