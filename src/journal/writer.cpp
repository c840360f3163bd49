#include "journal/writer.hpp"

#include <fmt/format.h>

#include <utility>

#include "base/error.hpp"
#include "journal/frame.hpp"

namespace plexor::journal {

Writer::Writer(std::unique_ptr<Sink> sink, std::uint64_t first_sequence)
    : buffer_(std::move(sink)), next_(first_sequence), durable_(first_sequence) {}

std::uint64_t Writer::append(const Record& record) {
  buffer_.check_alive();
  std::string& lines = buffer_.bytes();
  const std::size_t begin = lines.size();
  try {
    append_line(lines, next_, record);
  } catch (...) {
    lines.resize(begin);  // no half line may precede what is appended later
    throw;
  }
  if (const std::size_t bytes = lines.size() - begin; bytes > max_line_bytes) {
    lines.resize(begin);
    throw base::InputError(
        fmt::format("a journal line of {} bytes is needed, but {} is the most; use shorter "
                    "scenario and rig files",
                    bytes, max_line_bytes));
  }
  const std::uint64_t sequence = next_++;
  if (buffer_.is_full()) flush();
  return sequence;
}

void Writer::flush() { buffer_.flush(); }

void Writer::sync() {
  if (durable_ == next_) return buffer_.flush();  // nothing new, but a failure is still told
  buffer_.sync();
  durable_ = next_;
}

}  // namespace plexor::journal
