#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <string>

namespace plexor::rig {

/// A file that another program writes, read as it grows, or a FIFO. Nothing here blocks.
class FollowedFile {
 public:
  enum class Begin : std::uint8_t {
    at_end,    ///< what stands in it already is old
    at_start,  ///< it is new as a whole
  };

  /// `begin` is for files; a FIFO has only what comes. Throws base::RigFault if it can't be read,
  /// is neither, or is a FIFO that another reader of this kind has.
  FollowedFile(std::string path, Begin begin);
  ~FollowedFile();
  FollowedFile(const FollowedFile&) = delete;
  FollowedFile& operator=(const FollowedFile&) = delete;

  /// What has been written since; how many bytes, 0 for nothing.
  [[nodiscard]] std::size_t read(std::span<char> into);
  /// It was cut short, or another file or none stands under its path now.
  [[nodiscard]] bool is_gone() const;

 private:
  std::string path_;
  int descriptor_ = -1;
  bool is_fifo_ = false;
  std::uint64_t read_ = 0;  ///< up to there; a file
};

}  // namespace plexor::rig
