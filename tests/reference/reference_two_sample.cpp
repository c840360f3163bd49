#include <algorithm>

#include "analysis/comparing/two_sample.hpp"
#include "reference/reference_check.hpp"

namespace plexor::reference {

namespace {

std::vector<double> sorted(std::vector<double> values) {
  std::ranges::sort(values);
  return values;
}

std::vector<double> x_of(const Inputs& in) { return sorted(in.numbers("x")); }
std::vector<double> y_of(const Inputs& in) { return sorted(in.numbers("y")); }

analysis::PValues normal_of(const Inputs& in, bool continuity) {
  return analysis::mann_whitney_normal(x_of(in), y_of(in), continuity).value();
}

analysis::PValues exact_of(const Inputs& in) {
  return analysis::mann_whitney_exact(x_of(in), y_of(in)).value();
}

analysis::Shift shift_of(const Inputs& in) {
  return analysis::hodges_lehmann(x_of(in), y_of(in), in.number("conf"));
}

double smirnov_exact(const Inputs& in) {
  return analysis::kolmogorov_smirnov_exact(x_of(in), y_of(in)).value();
}

analysis::AndersonDarling anderson_darling_of(const Inputs& in) {
  std::vector<std::vector<double>> samples;
  for (const std::string& sample : split(in.text("samples"), "|")) {
    samples.emplace_back();
    for (const std::string& value : split(sample, " "))
      samples.back().push_back(parse_number(value, in.place()));
    std::ranges::sort(samples.back());
  }
  return analysis::anderson_darling(samples);
}

using In = const Inputs&;

std::vector<Handler> rank_handlers() {
  return {
      {"", "U_x", "x y",
       [](In in) -> Answer { return analysis::mann_whitney(x_of(in), y_of(in)).u; }},
      {"", "p_exact_two", "x y", [](In in) -> Answer { return exact_of(in).two_sided; }},
      {"", "p_exact_greater", "x y", [](In in) -> Answer { return exact_of(in).greater; }},
      {"", "p_normal_cc_two", "x y", [](In in) -> Answer { return normal_of(in, true).two_sided; }},
      {"", "p_normal_nocc_two", "x y",
       [](In in) -> Answer { return normal_of(in, false).two_sided; }},
      {"", "shift", "x y conf", [](In in) -> Answer { return shift_of(in).estimate.value(); }},
      {"", "lower", "x y conf", [](In in) -> Answer { return shift_of(in).lower; }},
      {"", "upper", "x y conf", [](In in) -> Answer { return shift_of(in).upper; }},
      {"", "achieved_coverage", "x y conf", [](In in) -> Answer { return shift_of(in).coverage; }},
  };
}

std::vector<Handler> distance_handlers() {
  return {
      {"", "D", "x y",
       [](In in) -> Answer { return analysis::kolmogorov_smirnov(x_of(in), y_of(in)); }},
      {"", "p_exact", "x y", [](In in) -> Answer { return smirnov_exact(in); }},
      {"", "p_exact_cond_ties", "x y", [](In in) -> Answer { return smirnov_exact(in); }},
      {"", "p_asymptotic", "x y",
       [](In in) -> Answer { return analysis::kolmogorov_smirnov_limit(x_of(in), y_of(in)); }},
      {"", "AD_version1", "samples",
       [](In in) -> Answer { return anderson_darling_of(in).statistic; }},
      {"", "T_AD_version1", "samples",
       [](In in) -> Answer { return anderson_darling_of(in).standardised; }},
  };
}

}  // namespace

std::vector<Handler> two_sample_handlers() {
  std::vector<Handler> handlers = rank_handlers();
  for (const Handler& handler : distance_handlers()) handlers.push_back(handler);
  return handlers;
}

}  // namespace plexor::reference
