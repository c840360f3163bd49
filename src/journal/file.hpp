#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string_view>
#include <utility>

#include "base/error.hpp"
#include "journal/sink.hpp"

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

/// Makes the names in this file's folder durable. Throws base::RigFault.
void sync_folder_of(const std::filesystem::path& path);

/// Creates (never overwrites) a file of a run to append to; its folder entry is durable too. `what`
/// ("the journal") is for messages. Throws base::RigFault.
[[nodiscard]] std::unique_ptr<Sink> create_to_append(const std::filesystem::path& path,
                                                     std::string_view what);
/// Opens an existing one to append to it. Throws base::RigFault.
[[nodiscard]] std::unique_ptr<Sink> open_to_append(const std::filesystem::path& path,
                                                   std::string_view what);

/// Opens a file or a pipe that should hold `wanted` ("a plexor journal"). Throws base::InputError.
[[nodiscard]] File open_to_read(const std::filesystem::path& path, std::string_view wanted);

/// Reads at most `room` bytes and says how many; 0 at the end. Throws base::InputError.
[[nodiscard]] std::size_t read_some(const File& file, const std::filesystem::path& path,
                                    std::string_view wanted, char* to, std::size_t room);

/// Cuts the file at `size`, if given, and in any case makes durable what stays: what a killed
/// process wrote may not be on the disk yet. `what` is for messages. Throws base::RigFault.
void cut_and_keep(const std::filesystem::path& path, std::optional<std::uint64_t> size,
                  std::string_view what);

}  // namespace plexor::journal
