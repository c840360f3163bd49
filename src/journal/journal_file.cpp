#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>

#include "base/error.hpp"
#include "journal/file.hpp"
#include "journal/writer.hpp"

namespace plexor::journal {
namespace {

std::string_view remedy(int error) {
  switch (error) {
    case ENOSPC:
    case EDQUOT: return "free some space on that disk";
    case EFBIG: return "raise the limit for the size of files";
    case EEXIST: return "a journal is never overwritten: choose another folder";
    case EACCES:
    case EPERM:
    case EROFS: return "choose a folder that can be written";
    case ENOENT:
    case ENOTDIR: return "choose a folder that exists";
    default: return "check that disk and the system's log";
  }
}

class FileSink final : public Sink {
 public:
  FileSink(File file, std::filesystem::path path)
      : file_(std::move(file)), path_(std::move(path)) {}

  void write(std::string_view bytes) override {
    while (!bytes.empty()) {
      const ssize_t written = ::write(file_.descriptor(), bytes.data(), bytes.size());
      if (written > 0) {
        bytes.remove_prefix(static_cast<std::size_t>(written));
      } else if (written == 0) {
        throw file_fault("write", path_, ENOSPC);
      } else if (errno != EINTR) {
        throw file_fault("write", path_, errno);
      }
    }
  }

  void sync() override {
    // The size is all of the metadata that matters, and fdatasync writes it too.
    if (::fdatasync(file_.descriptor()) != 0) throw file_fault("make durable", path_, errno);
  }

 private:
  File file_;
  std::filesystem::path path_;
};

void sync_folder_of(const std::filesystem::path& path) {
  const std::filesystem::path folder =
      path.has_parent_path() ? path.parent_path() : std::filesystem::path{"."};
  const File file = File::open(folder, O_RDONLY | O_DIRECTORY);
  if (!file || ::fsync(file.descriptor()) != 0) throw file_fault("make durable", folder, errno);
}

}  // namespace

base::RigFault file_fault(std::string_view what, const std::filesystem::path& path, int error) {
  return base::RigFault(fmt::format("cannot {} {}: {}; {}", what, path.string(),
                                    std::strerror(error), remedy(error)));
}

File File::open(const std::filesystem::path& path, int flags) {
  constexpr mode_t mode = 0644;
  while (true) {
    const int descriptor = ::open(path.c_str(), flags | O_CLOEXEC, mode);
    if (descriptor >= 0 || errno != EINTR) return File(descriptor);
  }
}

File::File(File&& other) noexcept : descriptor_(std::exchange(other.descriptor_, -1)) {}

File::~File() {
  if (descriptor_ >= 0) ::close(descriptor_);
}

std::unique_ptr<Sink> create_journal_file(const std::filesystem::path& path) {
  File file = File::open(path, O_WRONLY | O_CREAT | O_EXCL | O_APPEND);
  if (!file) throw file_fault("create the journal", path, errno);
  sync_folder_of(path);
  return std::make_unique<FileSink>(std::move(file), path);
}

std::unique_ptr<Sink> open_journal_file(const std::filesystem::path& path) {
  File file = File::open(path, O_WRONLY | O_APPEND);
  if (!file) throw file_fault("append to the journal", path, errno);
  return std::make_unique<FileSink>(std::move(file), path);
}

}  // namespace plexor::journal
