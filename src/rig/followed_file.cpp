#include "rig/followed_file.hpp"

#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <utility>

#include "base/error.hpp"

namespace plexor::rig {

namespace {

[[noreturn]] void refuse_file(const std::string& path, const std::string& found,
                              const std::string& remedy) {
  throw base::RigFault("file " + path + ": " + found + "; " + remedy);
}

}  // namespace

FollowedFile::FollowedFile(std::string path, Begin begin)
    : path_(std::move(path)),
      descriptor_(::open(path_.c_str(), O_RDONLY | O_NONBLOCK | O_NOCTTY | O_CLOEXEC)) {
  if (descriptor_ < 0) {
    refuse_file(path_, base::last_reason(),
                "start the program that writes it, and check \"file\" in the rig file");
  }
  struct stat status {};
  fstat(descriptor_, &status);
  is_fifo_ = S_ISFIFO(status.st_mode);
  const bool is_kept = is_fifo_ && flock(descriptor_, LOCK_EX | LOCK_NB) != 0;
  if (is_kept || (!is_fifo_ && !S_ISREG(status.st_mode))) {
    close(descriptor_);
    if (is_kept) refuse_file(path_, "another program reads it", "end that program");
    refuse_file(path_, "neither a file nor a FIFO", "check \"file\" in the rig file");
  }
  if (!is_fifo_ && begin == Begin::at_end) {
    read_ = static_cast<std::uint64_t>(lseek(descriptor_, 0, SEEK_END));
  }
}

FollowedFile::~FollowedFile() { close(descriptor_); }

std::size_t FollowedFile::read(std::span<char> into) {
  const ssize_t bytes = ::read(descriptor_, into.data(), into.size());
  if (bytes <= 0) return 0;
  read_ += static_cast<std::uint64_t>(bytes);
  return static_cast<std::size_t>(bytes);
}

bool FollowedFile::is_gone() const {
  struct stat open_file {};
  struct stat named {};
  fstat(descriptor_, &open_file);
  if (stat(path_.c_str(), &named) != 0) return true;
  if (named.st_ino != open_file.st_ino || named.st_dev != open_file.st_dev) return true;
  return !is_fifo_ && static_cast<std::uint64_t>(open_file.st_size) < read_;
}

}  // namespace plexor::rig
