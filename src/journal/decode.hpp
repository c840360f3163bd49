#pragma once

#include <simdjson.h>

#include <array>
#include <string>
#include <string_view>

#include "journal/records.hpp"

namespace plexor::journal {

/// Turns lines whose checksum is right into entries. Private to this room.
/// Keeps one entry of each type, so that reading a long journal allocates nothing.
class Decoder {
 public:
  Decoder();

  /// The line must be followed by LineReader::padding readable bytes. Nothing if
  /// the line is no record of this format; problem() then says why. The entry is
  /// valid until the next call.
  [[nodiscard]] const Entry* decode(std::string_view line);
  [[nodiscard]] const std::string& problem() const { return problem_; }

 private:
  simdjson::dom::parser parser_;
  std::array<Entry, std::variant_size_v<Record>> entries_;
  std::string problem_;
};

}  // namespace plexor::journal
