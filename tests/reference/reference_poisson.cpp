#include "analysis/comparing/rate_ratio.hpp"
#include "analysis/intervals.hpp"
#include "reference/reference_check.hpp"
#include "reference/reference_sides.hpp"

namespace plexor::reference {

namespace {

constexpr std::string_view two_counts = "x1 T1 x2 T2 null_ratio";

analysis::Interval garwood(const Inputs& in) {
  return analysis::garwood(in.count("events"), in.number("exposure"), in.number("conf"),
                           sides_of(in));
}

analysis::Events first_events(const Inputs& in) { return {in.count("x1"), in.number("T1")}; }
analysis::Events second_events(const Inputs& in) { return {in.count("x2"), in.number("T2")}; }

analysis::PValues ratio_test(const Inputs& in) {
  return analysis::rate_ratio_exact(first_events(in), second_events(in), in.number("null_ratio"));
}

analysis::Interval ratio_interval(const Inputs& in) {
  return analysis::rate_ratio_interval(first_events(in), second_events(in), 0.95,
                                       analysis::Sides::two);
}

}  // namespace

std::vector<Handler> poisson_handlers() {
  using In = const Inputs&;
  return {
      {"garwood", "lower", "events exposure conf",
       [](In in) -> Answer { return garwood(in).lower; }},
      {"garwood", "upper", "events exposure conf",
       [](In in) -> Answer { return garwood(in).upper; }},
      {"", "p_two_sided", two_counts, [](In in) -> Answer { return ratio_test(in).two_sided; }},
      {"", "p_greater", two_counts, [](In in) -> Answer { return ratio_test(in).greater; }},
      {"", "p_less", two_counts, [](In in) -> Answer { return ratio_test(in).less; }},
      {"", "ratio_lower95", two_counts, [](In in) -> Answer { return ratio_interval(in).lower; }},
      {"", "ratio_upper95", two_counts, [](In in) -> Answer { return ratio_interval(in).upper; }},
  };
}

}  // namespace plexor::reference
