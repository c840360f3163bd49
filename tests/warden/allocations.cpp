#include "allocations.hpp"

#include <atomic>
#include <cstddef>

// The C library's allocator, with a counter before it: operator new ends here too.

#if defined(__has_feature)
#if __has_feature(address_sanitizer) || __has_feature(thread_sanitizer)
#define PLEXOR_FOREIGN_ALLOCATOR
#endif
#endif
#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
#define PLEXOR_FOREIGN_ALLOCATOR
#endif

namespace plexor {

namespace {

constinit std::atomic<std::uint64_t> count = 0;

}  // namespace

std::uint64_t allocations() { return count.load(); }

#ifdef PLEXOR_FOREIGN_ALLOCATOR
bool allocations_are_counted() { return false; }
#else
bool allocations_are_counted() { return true; }
#endif

}  // namespace plexor

#ifndef PLEXOR_FOREIGN_ALLOCATOR

extern "C" {

void* __libc_malloc(std::size_t size);
void* __libc_calloc(std::size_t many, std::size_t size);
void* __libc_realloc(void* old, std::size_t size);
void* __libc_memalign(std::size_t alignment, std::size_t size);

void* malloc(std::size_t size) {
  ++plexor::count;
  return __libc_malloc(size);
}
void* calloc(std::size_t many, std::size_t size) {
  ++plexor::count;
  return __libc_calloc(many, size);
}
void* realloc(void* old, std::size_t size) {
  ++plexor::count;
  return __libc_realloc(old, size);
}
void* aligned_alloc(std::size_t alignment, std::size_t size) {
  ++plexor::count;
  return __libc_memalign(alignment, size);
}

}  // extern "C"

#endif
