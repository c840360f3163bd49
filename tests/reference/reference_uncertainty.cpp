#include <stdexcept>

#include "analysis/uncertainty.hpp"
#include "reference/reference_check.hpp"

namespace plexor::reference {

namespace {

using analysis::Knowledge;

Knowledge knowledge_of(const std::string& kind) {
  if (kind == "normal") return Knowledge::normal;
  if (kind == "rectangular") return Knowledge::rectangular;
  if (kind == "triangular") return Knowledge::triangular;
  if (kind == "arcsine") return Knowledge::arcsine;
  if (kind == "resolution") return Knowledge::resolution;
  if (kind == "expanded_k2") return Knowledge::expanded_k2;
  throw std::invalid_argument("unknown kind of knowledge: " + kind);
}

analysis::Budget budget_of(const Inputs& in) {
  const auto values = in.numbers("value");
  const auto sensitivities = in.numbers("sensitivity");
  const auto degrees = in.numbers("dof");
  const auto kinds = split(in.text("kind"), " ");
  analysis::Budget budget;
  for (std::size_t i = 0; i < values.size(); ++i) {
    const double u = analysis::standard_uncertainty(knowledge_of(kinds.at(i)), values[i]);
    budget.contributions.push_back({kinds[i], u * sensitivities.at(i), degrees.at(i)});
  }
  return budget;
}

}  // namespace

std::vector<Handler> uncertainty_handlers() {
  using In = const Inputs&;
  const char* inputs = "budget kind value sensitivity dof";
  return {
      {"", "u_c", inputs, [](In in) -> Answer { return budget_of(in).combined(); }},
      {"", "nu_eff", inputs, [](In in) -> Answer { return budget_of(in).degrees_of_freedom(); }},
      {"", "t95", inputs, [](In in) -> Answer { return budget_of(in).coverage_factor_95(); }},
      {"", "U95", inputs,
       [](In in) -> Answer {
         const analysis::Budget budget = budget_of(in);
         return budget.coverage_factor_95() * budget.combined();
       }},
      {"", "t", "dof coverage",
       [](In in) -> Answer {
         return analysis::coverage_factor(in.number("dof"), in.number("coverage"));
       }},
  };
}

}  // namespace plexor::reference
