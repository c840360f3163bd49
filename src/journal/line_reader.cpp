#include "journal/line_reader.hpp"

#include <algorithm>
#include <cstring>
#include <utility>

#include "journal/frame.hpp"

namespace plexor::journal {
namespace {

constexpr std::size_t first_capacity = std::size_t{256} << 10;

std::size_t newline_in(const char* from, std::size_t size) {
  const void* found = size == 0 ? nullptr : std::memchr(from, '\n', size);
  return found == nullptr ? size : static_cast<std::size_t>(static_cast<const char*>(found) - from);
}

}  // namespace

LineReader::LineReader(Source source)
    : source_(std::move(source)),
      buffer_(std::make_unique_for_overwrite<char[]>(first_capacity + padding)),
      capacity_(first_capacity) {}

bool LineReader::next(Line& line) {
  std::size_t searched = 0;
  while (true) {
    const std::size_t held = end_ - begin_;
    const std::size_t at =
        searched + newline_in(buffer_.get() + begin_ + searched, held - searched);
    if (at < held) {
      line = take(at, true);
      return true;
    }
    if (held > max_line_bytes) {
      skip_to_newline(line);
      return true;
    }
    searched = held;
    if (!fill()) {
      line = take(held, false);
      return held > 0;
    }
  }
}

LineReader::Line LineReader::take(std::size_t length, bool finished) {
  const std::size_t bytes = length + (finished ? 1 : 0);
  Line line{.text = {buffer_.get() + begin_, length},
            .offset = offset_,
            .bytes = bytes,
            .finished = finished,
            .too_long = bytes > max_line_bytes};
  begin_ += bytes;
  offset_ += bytes;
  return line;
}

/// Goes through a line that is too long without keeping it.
void LineReader::skip_to_newline(Line& line) {
  line = Line{.offset = offset_, .too_long = true};
  while (!line.finished) {
    const std::size_t held = end_ - begin_;
    const std::size_t at = newline_in(buffer_.get() + begin_, held);
    line.finished = at < held;
    const std::size_t bytes = at + (line.finished ? 1 : 0);
    line.bytes += bytes;
    begin_ += bytes;
    offset_ += bytes;
    if (!line.finished && !fill()) return;
  }
}

void LineReader::make_room() {
  const std::size_t held = end_ - begin_;
  if (held <= capacity_ / 2) {
    if (held > 0) std::memmove(buffer_.get(), buffer_.get() + begin_, held);
  } else {
    capacity_ *= 2;
    auto larger = std::make_unique_for_overwrite<char[]>(capacity_ + padding);
    std::memcpy(larger.get(), buffer_.get() + begin_, held);
    buffer_ = std::move(larger);
  }
  begin_ = 0;
  end_ = held;
}

bool LineReader::fill() {
  if (end_ == capacity_ || begin_ == end_) make_room();
  const std::size_t got = source_(buffer_.get() + end_, capacity_ - end_);
  end_ += got;
  return got > 0;
}

}  // namespace plexor::journal
