#include "analysis/intervals.hpp"
#include "reference/reference_check.hpp"
#include "reference/reference_sides.hpp"

namespace plexor::reference {

namespace {

analysis::Interval garwood(const Inputs& in) {
  return analysis::garwood(in.count("events"), in.number("exposure"), in.number("conf"),
                           sides_of(in));
}

}  // namespace

std::vector<Handler> poisson_handlers() {
  using In = const Inputs&;
  return {
      {"garwood", "lower", "events exposure conf",
       [](In in) -> Answer { return garwood(in).lower; }},
      {"garwood", "upper", "events exposure conf",
       [](In in) -> Answer { return garwood(in).upper; }},
  };
}

}  // namespace plexor::reference
