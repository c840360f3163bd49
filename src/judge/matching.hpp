#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "base/time.hpp"

namespace plexor::judge {

/// When answers to one stimulus may arrive, both ends included, and the moment
/// latency counts from. Answers before `reference` have negative latency (early).
struct AnswerWindow {
  base::Instant opens;      ///< first contact
  base::Instant reference;  ///< last contact
  base::Instant closes;     ///< end of the response window

  bool operator==(const AnswerWindow&) const = default;
};

inline constexpr std::uint32_t unmatched = 0xffffffff;

/// One to one, order kept, most matches first, then the least sum of |arrival -
/// reference|. Windows in order (opens, closes and reference each not
/// decreasing, at most 2^32 - 2 of them) and arrivals in order; windows may
/// overlap. Returns for each window the index of its arrival, or `unmatched`.
/// Linear time where windows and arrivals do not compete; a competing cluster
/// of w windows and a arrivals costs w * a.
[[nodiscard]] std::vector<std::uint32_t> match(std::span<const AnswerWindow> windows,
                                               std::span<const base::Instant> arrivals);

}  // namespace plexor::judge
