#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "journal/line_reader.hpp"
#include "journal/reader.hpp"

namespace plexor::journal {

/// Turns lost lines and gaps of the sequence into the damages of a summary:
/// lines that follow each other become one stretch. Private to this room.
class DamageLog {
 public:
  explicit DamageLog(ReadSummary& summary) : summary_(summary) {}

  /// A line is lost. `may_be_torn`: as interrupted writing would leave the last one.
  void lost(std::uint64_t number, const LineReader::Line& line, std::string problem,
            bool may_be_torn);
  /// Why the number can't be the next one; nothing if it can.
  [[nodiscard]] std::optional<std::string> repetition(std::uint64_t sequence) const;
  /// A line is good; its sequence number is no repetition.
  void good(std::uint64_t number, const LineReader::Line& line, std::uint64_t sequence);
  /// No more lines.
  void finish();

 private:
  void join_last_line();
  void close_stretch(const std::string& addition);
  void record(Damage damage);

  ReadSummary& summary_;
  std::uint64_t expected_ = 0;     ///< one more than the last good number
  std::optional<Damage> stretch_;  ///< lost lines that follow each other
  std::uint64_t stretch_lines_ = 0;
  std::optional<Damage> last_line_;  ///< the latest lost line: torn if nothing follows
};

}  // namespace plexor::journal
