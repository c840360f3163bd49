#include "judge/sequential_estimate.hpp"

#include <boost/math/tools/roots.hpp>
#include <cmath>
#include <cstdint>
#include <limits>
#include <numeric>
#include <span>
#include <stdexcept>

#include "judge/sequential_walk.hpp"

namespace plexor::judge {

namespace {

/// Chances of stops that speak for fewer failures than the one seen, of just that one, and of those
/// that speak for more.
struct OrderedChances {
  double fewer = 0.0;
  double seen = 0.0;
  double more = 0.0;
};

double sum(std::span<const double> chances) { return std::reduce(chances.begin(), chances.end()); }

void need_stop(bool condition) {
  if (!condition) throw std::domain_error("sequential estimate: the test can't stop there");
}

/// What the design says to so many failures after this exposure.
Standing standing_at(const SequentialDesign& design, const SequentialState& stop) {
  if (stop.exposure <= design.fail_until[stop.failures]) return Standing::fail;
  const bool may_pass = stop.failures < design.pass_from.size();
  if (may_pass && stop.exposure == design.pass_from[stop.failures]) return Standing::pass;
  need_stop(!may_pass || stop.exposure < design.pass_from[stop.failures]);
  return stop.exposure < design.longest ? Standing::running : Standing::undecided;
}

void need_stop_of(const SequentialDesign& design, const SequentialState& stop) {
  const bool trials = design.aim.kind == RateKind::detection;
  need_stop(stop.exposure > 0.0 && stop.exposure <= design.longest);
  need_stop(!trials || stop.exposure == std::floor(stop.exposure));
  need_stop(!trials || static_cast<double>(stop.failures) <= stop.exposure);
  need_stop(stop.failures < design.fail_until.size());
  need_stop(stop.standing == standing_at(design, stop));
}

OrderedChances chances_of_pass(const SequentialWalk& at, std::uint64_t failures) {
  const std::span<const double> passed(at.passed);
  return {.fewer = sum(passed.first(failures)),
          .seen = passed[failures],
          .more = sum(passed.subspan(failures + 1)) + sum(at.running) + at.failed};
}

OrderedChances chances_without_verdict(const SequentialWalk& at, std::uint64_t failures) {
  const std::span<const double> running(at.running);
  return {.fewer = sum(at.passed) + sum(running.first(failures)),
          .seen = running[failures],
          .more = sum(running.subspan(failures + 1)) + at.failed};
}

/// Fails are ordered by when, not by how many; one moment of listening has no chance of its own.
OrderedChances chances_of_fail(const SequentialDesign& design, double rate, double exposure) {
  const SequentialWalk at = walk(design, rate, exposure);
  if (design.aim.kind == RateKind::alarms)
    return {.fewer = sum(at.passed) + sum(at.running), .seen = 0.0, .more = at.failed};
  const double before = walk(design, rate, exposure - 1.0).failed;
  return {.fewer = sum(at.passed) + sum(at.running), .seen = at.failed - before, .more = before};
}

class StopOrder {
 public:
  StopOrder(const SequentialDesign& design, const SequentialState& stop)
      : design_(design), stop_(stop) {}

  /// The failures per exposure at which the share of stops further up, with this part of the one
  /// seen, is `tail`; 0 or `highest` if it is less or more everywhere.
  [[nodiscard]] double failures_where_more(double part, double tail) const {
    return root([&](const OrderedChances& at) { return at.more + part * at.seen - tail; });
  }
  /// The same for those further down, with all of the one seen.
  [[nodiscard]] double failures_where_fewer(double tail) const {
    return root([&](const OrderedChances& at) { return tail - at.fewer - at.seen; });
  }

 private:
  [[nodiscard]] OrderedChances chances_at(double failures) const {
    const double rate = trials() ? 1.0 - failures : failures;
    if (stop_.standing == Standing::fail) return chances_of_fail(design_, rate, stop_.exposure);
    const SequentialWalk at = walk(design_, rate, stop_.exposure);
    return stop_.standing == Standing::pass ? chances_of_pass(at, stop_.failures)
                                            : chances_without_verdict(at, stop_.failures);
  }

  /// Where a function of the chances, not decreasing with the failures, changes its sign.
  template <typename Function>
  [[nodiscard]] double root(Function function) const {
    const auto value = [&](double failures) { return function(chances_at(failures)); };
    if (value(0.0) >= 0.0) return 0.0;
    double high = trials() ? 1.0 : 1.0 / design_.longest;
    while (value(high) <= 0.0) {
      if (trials()) return 1.0;
      if (high > beyond) return std::numeric_limits<double>::infinity();
      high *= 2.0;
    }
    std::uintmax_t most_steps = 200;
    const auto found = boost::math::tools::toms748_solve(
        value, 0.0, high, boost::math::tools::eps_tolerance<double>(48), most_steps);
    return std::midpoint(found.first, found.second);
  }

  [[nodiscard]] bool trials() const { return design_.aim.kind == RateKind::detection; }

  static constexpr double beyond = 1e15;
  const SequentialDesign& design_;
  const SequentialState& stop_;
};

}  // namespace

SequentialEstimate sequential_estimate(const SequentialDesign& design, const SequentialState& stop,
                                       double confidence) {
  if (!(confidence > 0.0 && confidence < 1.0))
    throw std::domain_error("sequential estimate: confidence must lie between 0 and 1");
  need_stop_of(design, stop);
  const StopOrder order(design, stop);
  const double tail = (1.0 - confidence) / 2.0;
  const double fewest = order.failures_where_more(1.0, tail);
  const double middle = order.failures_where_more(0.5, 0.5);
  const double most = order.failures_where_fewer(tail);
  if (design.aim.kind == RateKind::alarms)
    return {.lower = fewest, .median_unbiased = middle, .upper = most, .confidence = confidence};
  return {.lower = 1.0 - most,
          .median_unbiased = 1.0 - middle,
          .upper = 1.0 - fewest,
          .confidence = confidence};
}

}  // namespace plexor::judge
