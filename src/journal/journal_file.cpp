#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>

#include "base/error.hpp"
#include "journal/file.hpp"
#include "journal/sink.hpp"

namespace plexor::journal {
namespace {

std::string_view remedy(int error) {
  switch (error) {
    case ENOSPC:
    case EDQUOT: return "free some space on that disk";
    case EFBIG: return "raise the limit for the size of files";
    case EEXIST: return "a file of a run is never overwritten: choose another folder";
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

}  // namespace

void sync_folder_of(const std::filesystem::path& path) {
  const std::filesystem::path folder =
      path.has_parent_path() ? path.parent_path() : std::filesystem::path{"."};
  const File file = File::open(folder, O_RDONLY | O_DIRECTORY);
  if (!file || ::fsync(file.descriptor()) != 0) throw file_fault("make durable", folder, errno);
}

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

std::unique_ptr<Sink> create_to_append(const std::filesystem::path& path, std::string_view what) {
  File file = File::open(path, O_WRONLY | O_CREAT | O_EXCL | O_APPEND);
  if (!file) throw file_fault(fmt::format("create {}", what), path, errno);
  sync_folder_of(path);
  return std::make_unique<FileSink>(std::move(file), path);
}

std::unique_ptr<Sink> open_to_append(const std::filesystem::path& path, std::string_view what) {
  File file = File::open(path, O_WRONLY | O_APPEND);
  if (!file) throw file_fault(fmt::format("append to {}", what), path, errno);
  return std::make_unique<FileSink>(std::move(file), path);
}

File open_to_read(const std::filesystem::path& path, std::string_view wanted) {
  const base::Place place{.file = path.string()};
  const std::string expected{wanted};
  File file = File::open(path, O_RDONLY);
  struct stat facts {};
  if (!file || ::fstat(file.descriptor(), &facts) != 0) {
    throw base::InputError(place, base::last_reason(), expected);
  }
  if (S_ISDIR(facts.st_mode)) {
    throw base::InputError(place, "a folder", expected, "name the file inside the folder");
  }
  if (!S_ISREG(facts.st_mode) && !S_ISFIFO(facts.st_mode)) {
    throw base::InputError(place, "a device", expected);
  }
  return file;
}

std::size_t read_some(const File& file, const std::filesystem::path& path, std::string_view wanted,
                      char* to, std::size_t room) {
  while (true) {
    const ssize_t got = ::read(file.descriptor(), to, room);
    if (got >= 0) return static_cast<std::size_t>(got);
    if (errno != EINTR) {
      throw base::InputError({.file = path.string()}, base::last_reason(), std::string{wanted});
    }
  }
}

void cut_and_keep(const std::filesystem::path& path, std::optional<std::uint64_t> size,
                  std::string_view what) {
  const File file = File::open(path, O_WRONLY);
  if (!file) throw file_fault(fmt::format("recover {}", what), path, errno);
  if (size && ::ftruncate(file.descriptor(), static_cast<off_t>(*size)) != 0) {
    throw file_fault("cut the torn end of", path, errno);
  }
  if (::fsync(file.descriptor()) != 0) throw file_fault("make durable", path, errno);
}

}  // namespace plexor::journal
