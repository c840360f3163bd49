#include "lines/shared_memory.hpp"

#include <fcntl.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/error.hpp"
#include "lines/descriptor.hpp"

namespace plexor::lines {

namespace {

[[noreturn]] void fail_memory(const std::string& file, const std::string& reason) {
  throw base::RigFault("shared memory " + file + ": " + reason);
}

std::shared_ptr<void> map(const Descriptor& descriptor, const std::string& file, std::size_t size) {
  void* memory = mmap(nullptr, size, PROT_READ | PROT_WRITE, MAP_SHARED, descriptor.get(), 0);
  if (memory == MAP_FAILED) fail_memory(file, base::last_reason());
  return {memory, [size](void* mapped) { munmap(mapped, size); }};
}

}  // namespace

std::shared_ptr<void> create_shared_memory(const std::string& file, std::size_t size) {
  const Descriptor descriptor(open(file.c_str(), O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0600));
  if (descriptor.get() < 0) fail_memory(file, base::last_reason());
  if (ftruncate(descriptor.get(), static_cast<off_t>(size)) != 0)
    fail_memory(file, base::last_reason());
  return map(descriptor, file, size);
}

std::shared_ptr<void> open_shared_memory(const std::string& file, std::size_t size) {
  const Descriptor descriptor(open(file.c_str(), O_RDWR | O_CLOEXEC));
  if (descriptor.get() < 0) fail_memory(file, base::last_reason());
  struct stat facts {};
  if (fstat(descriptor.get(), &facts) != 0) fail_memory(file, base::last_reason());
  if (facts.st_size != static_cast<off_t>(size))
    fail_memory(file, "not of the size that it should have");
  return map(descriptor, file, size);
}

}  // namespace plexor::lines
