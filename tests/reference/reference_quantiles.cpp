#include <algorithm>
#include <limits>

#include "analysis/intervals.hpp"
#include "reference/reference_check.hpp"
#include "reference/reference_sides.hpp"

namespace plexor::reference {

namespace {

std::vector<double> sorted_values(const Inputs& in) {
  std::vector<double> values = in.numbers("x");
  std::ranges::sort(values);
  return values;
}

Answer number_or_nan(std::optional<double> value) {
  return value.value_or(std::numeric_limits<double>::quiet_NaN());
}

analysis::OrderRanks ranks(const Inputs& in) {
  return analysis::quantile_ranks(in.count("n"), in.number("p"), in.number("conf"), sides_of(in));
}

double as_quantile(std::uint64_t count) { return static_cast<double>(count); }

}  // namespace

std::vector<Handler> quantile_handlers() {
  using In = const Inputs&;
  return {
      {"", "type7", "x p",
       [](In in) {
         return number_or_nan(analysis::quantile_type7(sorted_values(in), in.number("p")));
       }},
      {"", "type8", "x p",
       [](In in) {
         return number_or_nan(analysis::quantile_type8(sorted_values(in), in.number("p")));
       }},
      {"", "rank_lower", "n p conf side",
       [](In in) -> Answer { return as_quantile(ranks(in).lower); }},
      {"", "rank_upper", "n p conf side",
       [](In in) -> Answer { return as_quantile(ranks(in).upper); }},
      {"", "coverage", "n p conf side", [](In in) -> Answer { return ranks(in).coverage; }},
  };
}

}  // namespace plexor::reference
