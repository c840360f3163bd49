#pragma once

#include <cstddef>
#include <functional>
#include <string>
#include <string_view>

namespace plexor::rig {

/// Puts together the lines of text that a device sends in pieces. Whatever comes
/// is borne: a line that is too long is dropped whole, and counted.
class LineAssembler {
 public:
  static constexpr std::size_t longest_line = 512;

  /// `take` is given each finished line without its end (LF or CR LF); empty lines are none.
  /// `longest`: of a line that is taken, in bytes.
  explicit LineAssembler(std::function<void(std::string_view)> take,
                         std::size_t longest = longest_line)
      : take_(std::move(take)), longest_(longest) {}

  void feed(std::string_view bytes);
  [[nodiscard]] std::size_t dropped() const { return dropped_; }
  /// A line has begun and not ended.
  [[nodiscard]] bool is_within() const { return !line_.empty() || too_long_; }
  /// A line was dropped, or the one that is coming will be.
  [[nodiscard]] bool overlong() const { return too_long_ || dropped_ > 0; }

 private:
  void finish();

  std::function<void(std::string_view)> take_;
  std::size_t longest_;
  std::string line_;
  bool too_long_ = false;
  std::size_t dropped_ = 0;
};

}  // namespace plexor::rig
