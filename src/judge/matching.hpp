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
/// reference|. Of equally good matchings the one whose last pair has the earlier
/// arrival, then the earlier window, and so on backwards: of two equally near
/// arrivals the earlier, of two equal windows the earlier. Windows in order
/// (opens, closes and reference each not decreasing) and arrivals in order, at
/// most 2^32 - 2 of each; windows may overlap. Returns for each window the index
/// of its arrival, or `unmatched`.
/// Linear time where windows and arrivals do not compete. A competing cluster
/// costs each window's arrivals within reach, less those that the count of
/// matches rules out: at worst windows * arrivals, near linear where nearly all
/// windows or nearly all arrivals are matched.
[[nodiscard]] std::vector<std::uint32_t> match(std::span<const AnswerWindow> windows,
                                               std::span<const base::Instant> arrivals);

}  // namespace plexor::judge
