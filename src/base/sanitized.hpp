#pragma once

#if defined(__has_feature)
#if __has_feature(address_sanitizer) || __has_feature(thread_sanitizer) || \
    __has_feature(undefined_behavior_sanitizer)
#define PLEXOR_SANITIZED
#endif
#endif
#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
#define PLEXOR_SANITIZED
#endif

namespace plexor::base {

/// Built with a sanitizer: its runtime does things of its own in every thread.
#ifdef PLEXOR_SANITIZED
inline constexpr bool is_sanitized = true;
#else
inline constexpr bool is_sanitized = false;
#endif

}  // namespace plexor::base
