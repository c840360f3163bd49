#pragma once

#include <cstddef>
#include <cstdint>
#include <deque>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "journal/file.hpp"

// A long journal lies in several files: the one that is written, journal.jsonl, and before it
// finished parts of it, journal.0001.jsonl.gz, ... Private to this room; FORMAT.md says it for
// people.

namespace plexor::journal {

/// A finished part of a journal.
struct Part {
  std::uint32_t number = 0;  ///< from 1
  std::filesystem::path file;
  bool is_packed = false;  ///< by gzip
};

/// The finished parts beside this journal, in order. Of one that is there twice (packing was
/// interrupted before the end) the plain one counts.
[[nodiscard]] std::vector<Part> finished_parts(const std::filesystem::path& journal);

/// Where this part of the journal lies.
[[nodiscard]] std::filesystem::path part_file(const std::filesystem::path& journal,
                                              std::uint32_t number, bool is_packed);

/// Replaces a plain part by a packed one; interrupted at any instant it leaves the plain one, or
/// both whole, and does it anew. Throws base::RigFault, with the plain one as it was.
void pack(const Part& part);

/// The bytes of all parts and then of the journal's newest file, as one stream. Also while
/// another process goes on writing it.
class PartsReader {
 public:
  /// Throws base::InputError if there is neither the journal nor a part of it. `wanted` is for
  /// messages.
  PartsReader(const std::filesystem::path& journal, std::string_view wanted);
  ~PartsReader();
  PartsReader(const PartsReader&) = delete;
  PartsReader& operator=(const PartsReader&) = delete;

  /// At most `room` bytes; 0 at the end. What can't be unpacked shows as a line without a checksum.
  [[nodiscard]] std::size_t read(char* to, std::size_t room);
  /// What share of the stream has been read, 0 to 1.
  [[nodiscard]] double share_read() const;
  /// Bytes of the stream before the newest file.
  [[nodiscard]] std::uint64_t bytes_before_newest() const { return before_newest_; }

 private:
  class Unpacker;
  void open_part();
  [[nodiscard]] std::size_t read_part(char* to, std::size_t room);

  std::string wanted_;
  std::filesystem::path journal_;
  std::optional<File> newest_;
  std::deque<Part> parts_;  ///< still to be read
  std::unique_ptr<Unpacker> part_;
  std::uint64_t before_newest_ = 0;
  double size_ = 0.0;  ///< of all files as they lie there
  double read_ = 0.0;
};

}  // namespace plexor::journal
