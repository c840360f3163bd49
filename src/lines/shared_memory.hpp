#pragma once

#include <cstddef>
#include <memory>
#include <string>

namespace plexor::lines {

// A file that several processes map as one piece of memory. What lies in it must
// be made of lock-free atomics: any process may die at any instant.

/// Makes the file (it must not exist), of zeros.
[[nodiscard]] std::shared_ptr<void> create_shared_memory(const std::string& file, std::size_t size);
/// Joins a file of exactly this size. Both throw base::RigFault naming the file and the reason.
[[nodiscard]] std::shared_ptr<void> open_shared_memory(const std::string& file, std::size_t size);

}  // namespace plexor::lines
