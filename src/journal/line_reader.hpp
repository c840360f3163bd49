#pragma once

#include <cstddef>
#include <cstdint>
#include <functional>
#include <memory>
#include <string_view>

namespace plexor::journal {

/// Cuts a stream of bytes into lines, in one buffer that grows only to the
/// longest line. Private to this room.
class LineReader {
 public:
  /// Reads at most `room` bytes into `to` and says how many; 0 at the end.
  using Source = std::function<std::size_t(char* to, std::size_t room)>;

  struct Line {
    std::string_view text{};   ///< without newline, followed by at least `padding` readable
                               ///< bytes; valid until the next call; empty if too_long
    std::uint64_t offset = 0;  ///< from the stream's start
    std::uint64_t bytes = 0;   ///< with the newline
    bool finished = false;     ///< has its newline
    bool too_long = false;     ///< over max_line_bytes
  };

  static constexpr std::size_t padding = 64;

  explicit LineReader(Source source);

  /// False at the end of the stream.
  bool next(Line& line);

 private:
  void make_room();
  bool fill();
  void skip_to_newline(Line& line);
  Line take(std::size_t length, bool finished);

  Source source_;
  std::unique_ptr<char[]> buffer_;
  std::size_t capacity_;
  std::size_t begin_ = 0;     ///< of what is not yet taken
  std::size_t end_ = 0;       ///< of what is read
  std::uint64_t offset_ = 0;  ///< of begin_ in the stream
};

}  // namespace plexor::journal
