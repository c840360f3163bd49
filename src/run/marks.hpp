#pragma once

#include <cstddef>
#include <cstdint>
#include <deque>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

namespace plexor::run {

/// A person's word, given while a run goes on, that something may have shaken the surface: by
/// people's clocks, because a person knows no other.
struct Mark {
  std::string name;  ///< "kiln door"
  std::int64_t from_unix_ns = 0;
  std::int64_t to_unix_ns = 0;
  bool operator==(const Mark&) const = default;
};

/// As long as a mark's name may be.
inline constexpr std::size_t longest_mark_name = 60;

/// One line of the file of marks, with its end.
[[nodiscard]] std::string line_of(const Mark& mark);
/// The mark in a line without its end; nothing if it is none that line_of could have made.
[[nodiscard]] std::optional<Mark> mark_in(std::string_view line);

/// Adds a mark to the file, whole or not at all, and lets it survive a power cut. Throws
/// base::RigFault.
void append_mark(const std::filesystem::path& file, const Mark& mark);

/// Reads what append_mark adds, as it comes. A missing file is one without marks.
class MarkSpool {
 public:
  /// `known`: so many of its marks stand in the journal already, from before an interruption.
  explicit MarkSpool(std::filesystem::path file, std::uint64_t known = 0)
      : file_(std::move(file)), known_(known) {}

  /// The next mark that nobody has taken; nothing if there is none yet.
  [[nodiscard]] std::optional<Mark> next();
  /// Lines that were no marks, so far.
  [[nodiscard]] std::uint64_t unreadable() const { return unreadable_; }

 private:
  void read_on();
  void take_line(std::string_view line);

  std::filesystem::path file_;
  std::uint64_t known_;
  std::uint64_t offset_ = 0;  ///< read so far
  std::string begun_;         ///< of a line without its end
  std::deque<Mark> waiting_;
  std::uint64_t unreadable_ = 0;
};

}  // namespace plexor::run
