#include "journal/damage_log.hpp"

#include <fmt/format.h>

#include <utility>

namespace plexor::journal {
namespace {

constexpr std::size_t max_damages = 100;

}  // namespace

void DamageLog::lost(std::uint64_t number, const LineReader::Line& line, std::string problem,
                     bool may_be_torn) {
  join_last_line();
  last_line_ = Damage{.line = number,
                      .offset = line.offset,
                      .bytes = line.bytes,
                      .torn_tail = may_be_torn,
                      .what = std::move(problem)};
}

std::optional<std::string> DamageLog::repetition(std::uint64_t sequence) const {
  if (sequence >= expected_) return std::nullopt;
  return fmt::format("sequence goes back from {} to {}", expected_ - 1, sequence);
}

void DamageLog::good(std::uint64_t number, const LineReader::Line& line, std::uint64_t sequence) {
  join_last_line();
  if (stretch_) {
    std::string missing;
    if (sequence > expected_) {
      missing = sequence - 1 == expected_
                    ? fmt::format("; record {} is lost", expected_)
                    : fmt::format("; records {} to {} are lost", expected_, sequence - 1);
    }
    close_stretch(missing);
  } else if (sequence > expected_) {
    record({.line = number,
            .offset = line.offset,
            .what = expected_ == 0
                        ? fmt::format("sequence begins with {}", sequence)
                        : fmt::format("sequence jumps from {} to {}", expected_ - 1, sequence)});
  }
  expected_ = sequence + 1;
  summary_.next_sequence = expected_;
}

void DamageLog::finish() {
  std::optional<Damage> torn;
  if (last_line_ && last_line_->torn_tail) torn = std::exchange(last_line_, std::nullopt);
  join_last_line();
  // Numbers are never used again, also not those of records that can't be read any more.
  summary_.next_sequence = expected_ + stretch_lines_;
  if (stretch_) close_stretch("");
  if (torn) record(std::move(*torn));
}

void DamageLog::join_last_line() {
  if (!last_line_) return;
  ++stretch_lines_;
  if (stretch_) {
    stretch_->bytes += last_line_->bytes;
  } else {
    stretch_ = std::move(last_line_);
    stretch_->torn_tail = false;
  }
  last_line_.reset();
}

void DamageLog::close_stretch(const std::string& addition) {
  if (stretch_lines_ > 1) stretch_->what += fmt::format(", {} lines in all", stretch_lines_);
  stretch_->what += addition;
  record(std::move(*stretch_));
  stretch_.reset();
  stretch_lines_ = 0;
}

void DamageLog::record(Damage damage) {
  ++summary_.damage_count;
  summary_.bytes_lost += damage.bytes;
  if (summary_.damages.size() < max_damages || damage.torn_tail) {
    summary_.damages.push_back(std::move(damage));
  }
}

}  // namespace plexor::journal
