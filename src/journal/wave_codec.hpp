#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include "journal/waveforms.hpp"

// One record of waveforms.bin as bytes. Private to this room.

namespace plexor::journal {

/// Appends the record's line to `out`. `scratch` is memory to work in. Throws std::logic_error for
/// what FORMAT.md does not allow.
void encode_wave(std::string& out, std::string& scratch, std::uint64_t sequence,
                 const WaveRecord& record);

/// Reads lines (without their end) again and again into the same memory.
class WaveDecoder {
 public:
  /// Nothing is decoded where the line is not what encode_wave made: see problem().
  [[nodiscard]] bool decode(std::string_view line);

  [[nodiscard]] const WaveRecord& record() const { return record_; }
  [[nodiscard]] std::uint64_t sequence() const { return sequence_; }
  /// Why decode was false.
  [[nodiscard]] const std::string& problem() const { return problem_; }
  /// ... and whether interrupted writing would leave such a line.
  [[nodiscard]] bool may_be_torn() const { return may_be_torn_; }

 private:
  bool unwrap(std::string_view line);

  std::string bytes_;
  WaveRecord record_;
  std::uint64_t sequence_ = 0;
  std::string problem_;
  bool may_be_torn_ = false;
};

}  // namespace plexor::journal
