#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <utility>
#include <vector>

#include "analysis/response/rated_search.hpp"

// The likelihood of the doses of one search with one thing held, and all else that is free at its
// best. A profile keeps where its last look ended, so it is no constant function.

namespace plexor::analysis {

/// The likelihood of curves through `share` at a strength; each search begins where the last one
/// ended.
class StrengthProfile {
 public:
  StrengthProfile(const RatedSearch& search, std::vector<Parameters> tops, double share)
      : search_(search), share_(share), tops_(std::move(tops)) {
    begin_again();
  }

  double operator()(double strength);

  /// The next search begins at the tops, not where the last one ended.
  void begin_again();

  /// Whether curves of at least this likelihood have the share at no strength, but only beyond (or
  /// before) all of them.
  [[nodiscard]] bool may_lack_upper_end(double least) const;
  [[nodiscard]] bool may_lack_lower_end(double least) const;

 private:
  enum class Way : std::uint8_t { held, guess, lapse, both };

  [[nodiscard]] bool is_free(std::size_t rate) const {
    return search_.box().lower[rate] < search_.box().upper[rate];
  }
  /// One rate follows, the other is at its lower end; or one follows and the other is free.
  [[nodiscard]] bool is_open(Way way) const;
  [[nodiscard]] double best_with_at_least(std::size_t rate, double least) const;
  [[nodiscard]] Box box_of_way(Way way) const;
  double along(Way way, double strength, Parameters& last) const;

  const RatedSearch& search_;
  double share_;
  std::vector<Parameters> tops_;
  std::vector<std::array<Parameters, 4>> last_{};  ///< of each top, by way
};

/// The likelihood of curves with one parameter held.
class HeldProfile {
 public:
  HeldProfile(const RatedSearch& search, std::vector<Parameters> tops, std::size_t held)
      : search_(search), last_(std::move(tops)), held_(held) {}

  double operator()(double value);

 private:
  const RatedSearch& search_;
  std::vector<Parameters> last_;
  std::size_t held_;
};

}  // namespace plexor::analysis
