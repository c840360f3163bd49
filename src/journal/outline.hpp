#pragma once

#include <filesystem>
#include <optional>

#include "journal/records.hpp"

namespace plexor::journal {

/// How a journal begins and ends, read in a moment however long it is.
struct Outline {
  Header header;
  std::optional<Host> host{};        ///< nothing where it never came so far
  std::optional<Segment> segment{};  ///< the first
  std::optional<Record> last{};      ///< the last whole record; nothing where the end is damaged

  /// How its last segment was finished; nothing if the run lives, or was killed.
  [[nodiscard]] const Ended* ended() const { return last ? std::get_if<Ended>(&*last) : nullptr; }
};

/// Throws base::InputError for what read_journal refuses.
[[nodiscard]] Outline outline_of(const std::filesystem::path& path);

}  // namespace plexor::journal
