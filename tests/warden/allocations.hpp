#pragma once

#include <cstdint>

namespace plexor {

/// How often this program has asked for heap memory so far, by whatever way.
[[nodiscard]] std::uint64_t allocations();

/// Whether they are counted: a sanitizer brings an allocator of its own.
[[nodiscard]] bool allocations_are_counted();

}  // namespace plexor
