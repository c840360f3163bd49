#include <limits>

#include "analysis/intervals.hpp"
#include "reference/reference_check.hpp"
#include "reference/reference_sides.hpp"

namespace plexor::reference {

namespace {

analysis::Interval clopper_pearson(const Inputs& in) {
  return analysis::clopper_pearson(in.count("x"), in.count("n"), in.number("conf"), sides_of(in));
}

analysis::Interval wilson(const Inputs& in, bool continuity) {
  return analysis::wilson(in.count("x"), in.count("n"), in.number("conf"), sides_of(in),
                          continuity);
}

Answer trials_to_show(const Inputs& in) {
  const auto trials = analysis::trials_to_show(in.number("reliability"), in.number("conf"),
                                               in.count("failures_allowed"));
  return trials ? static_cast<double>(*trials) : std::numeric_limits<double>::infinity();
}

}  // namespace

std::vector<Handler> binomial_handlers() {
  using In = const Inputs&;
  return {
      {"clopper-pearson", "lower", "x n conf",
       [](In in) -> Answer { return clopper_pearson(in).lower; }},
      {"clopper-pearson", "upper", "x n conf",
       [](In in) -> Answer { return clopper_pearson(in).upper; }},
      {"wilson", "lower", "x n conf", [](In in) -> Answer { return wilson(in, false).lower; }},
      {"wilson", "upper", "x n conf", [](In in) -> Answer { return wilson(in, false).upper; }},
      {"wilson-cc", "lower", "x n conf", [](In in) -> Answer { return wilson(in, true).lower; }},
      {"wilson-cc", "upper", "x n conf", [](In in) -> Answer { return wilson(in, true).upper; }},
      {"", "n_min", "conf reliability failures_allowed", trials_to_show},
  };
}

}  // namespace plexor::reference
