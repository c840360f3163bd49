#pragma once

/// Put before a function whose loops over whole numbers are worth a version for
/// AVX2 (GCC finds no vector form for some of them without it). Whole numbers
/// only, so that both versions give the same bits. Sanitizers don't stand the dispatch.
#if defined(__GNUC__) && !defined(__clang__) && defined(__x86_64__) && \
    !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__)
#define PLEXOR_VECTOR_CLONES __attribute__((target_clones("avx2", "default")))
#else
#define PLEXOR_VECTOR_CLONES
#endif
