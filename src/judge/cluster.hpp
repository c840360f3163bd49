#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "base/time.hpp"
#include "judge/matching.hpp"

namespace plexor::judge {

/// Decisions kept at once while a cluster is solved, one byte each. More would
/// be quicker only for clusters that hardly occur.
inline constexpr std::size_t default_max_table = std::size_t{1} << 22;

/// Solves match() for windows that compete for arrivals, by a dynamic programme
/// over (windows so far, arrivals so far). Keeps its working memory between
/// clusters: 16 bytes for each arrival of the largest one, and the table.
class ClusterMatcher {
 public:
  /// The answer does not depend on `max_table`, only time and memory do.
  explicit ClusterMatcher(std::size_t max_table = default_max_table) : max_table_(max_table) {}

  /// Windows and arrivals as for match(). Returns for each window an index into `arrivals`, or
  /// `unmatched`; the answer stays valid until the next call.
  const std::vector<std::uint32_t>& solve(std::span<const AnswerWindow> windows,
                                          std::span<const base::Instant> arrivals);

 private:
  /// Half-open range of indices.
  struct Range {
    std::uint32_t first = 0;
    std::uint32_t last = 0;
    [[nodiscard]] bool empty() const { return first >= last; }
    [[nodiscard]] std::uint32_t size() const { return empty() ? 0 : last - first; }
  };
  /// Some of the windows and the arrivals left for them.
  struct Part {
    Range windows;
    Range arrivals;
  };
  /// The best way to serve the windows so far with the arrivals so far.
  struct Best {
    std::uint32_t matches = 0;
    std::uint32_t crossing = 0;  ///< arrivals so far when it passed the part's middle window
    std::int64_t latency = 0;    ///< sum of |arrival - reference|, in ns
    [[nodiscard]] bool better_than(const Best& other) const {
      return matches != other.matches ? matches > other.matches : latency < other.latency;
    }
  };
  enum class Step : std::uint8_t { skip_arrival, skip_window, match };

  void find_reaches();
  [[nodiscard]] std::uint32_t count_most_matches() const;
  void narrow_reaches();
  [[nodiscard]] Range reach_within(std::uint32_t window, const Part& part) const;
  [[nodiscard]] std::size_t cells(const Part& part) const;
  [[nodiscard]] std::int64_t latency(std::uint32_t window, std::uint32_t arrival) const;

  void solve_part(const Part& part);
  template <bool keep_steps>
  Best sweep(const Part& part, std::uint32_t middle);
  template <bool keep_steps>
  void sweep_window(std::uint32_t window, const Range& reach, std::uint32_t first_arrival);
  void trace_back(const Part& part);

  std::size_t max_table_;
  std::span<const AnswerWindow> windows_;
  std::span<const base::Instant> arrivals_;
  std::vector<Range> reaches_;          ///< by window: the arrivals it may take
  std::vector<Best> row_;               ///< by number of arrivals so far
  std::vector<Step> steps_;             ///< of the part being swept, one reach after the other
  std::vector<std::uint32_t> answers_;  ///< by window
};

}  // namespace plexor::judge
