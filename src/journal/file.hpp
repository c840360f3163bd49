#pragma once

#include <filesystem>
#include <string_view>
#include <utility>

#include "base/error.hpp"

namespace plexor::journal {

/// Owns an open file. Private to this room.
class File {
 public:
  /// With O_CLOEXEC and mode 0644; false with errno set if it can't be opened.
  [[nodiscard]] static File open(const std::filesystem::path& path, int flags);
  File(File&& other) noexcept;
  File(const File&) = delete;
  File& operator=(const File&) = delete;
  File& operator=(File&&) = delete;
  ~File();

  explicit operator bool() const { return descriptor_ >= 0; }
  [[nodiscard]] int descriptor() const { return descriptor_; }

 private:
  explicit File(int descriptor) : descriptor_(descriptor) {}
  int descriptor_;
};

/// "cannot WHAT PATH: the system's reason; what to do".
[[nodiscard]] base::RigFault file_fault(std::string_view what, const std::filesystem::path& path,
                                        int error);

}  // namespace plexor::journal
