#include "analysis/comparing/paired.hpp"
#include "analysis/comparing/two_proportions.hpp"
#include "reference/reference_check.hpp"
#include "reference/reference_sides.hpp"

namespace plexor::reference {

namespace {

using analysis::Alternative;
using analysis::Successes;

constexpr std::string_view newcombe = "newcombe-hybrid-score(method 10)";
constexpr std::string_view miettinen_nurminen = "miettinen-nurminen (N/(N-1) variance)";
constexpr std::string_view two_rates = "x1 n1 x2 n2 conf";
constexpr std::string_view four_fields = "a b c d";

Successes first_rate(const Inputs& in) { return {in.count("x1"), in.count("n1")}; }
Successes second_rate(const Inputs& in) { return {in.count("x2"), in.count("n2")}; }

analysis::Interval newcombe_of(const Inputs& in) {
  return analysis::newcombe_difference(first_rate(in), second_rate(in), in.number("conf"),
                                       sides_of(in));
}

analysis::Interval miettinen_nurminen_of(const Inputs& in) {
  return analysis::miettinen_nurminen_difference(first_rate(in), second_rate(in), in.number("conf"),
                                                 sides_of(in));
}

analysis::PValues fisher_of(const Inputs& in) {
  const std::uint64_t a = in.count("a");
  const std::uint64_t c = in.count("c");
  return analysis::fisher_exact({a, a + in.count("b")}, {c, c + in.count("d")});
}

double barnard_of(const Inputs& in, Alternative alternative) {
  if (in.text("statistic") != "pooled-Wald")
    throw base::InputError(in.place(), "statistic=" + in.text("statistic"), "pooled-Wald");
  return analysis::barnard_exact(first_rate(in), second_rate(in), alternative).p;
}

double boschloo_of(const Inputs& in, Alternative alternative) {
  return analysis::boschloo_exact(first_rate(in), second_rate(in), alternative).p;
}

using In = const Inputs&;

std::vector<Handler> interval_handlers() {
  return {
      {newcombe, "difference", two_rates,
       [](In in) -> Answer {
         const Successes a = first_rate(in);
         const Successes b = second_rate(in);
         return static_cast<double>(a.x) / static_cast<double>(a.n) -
                static_cast<double>(b.x) / static_cast<double>(b.n);
       }},
      {newcombe, "lower", two_rates, [](In in) -> Answer { return newcombe_of(in).lower; }},
      {newcombe, "upper", two_rates, [](In in) -> Answer { return newcombe_of(in).upper; }},
      {miettinen_nurminen, "lower", two_rates,
       [](In in) -> Answer { return miettinen_nurminen_of(in).lower; }},
      {miettinen_nurminen, "upper", two_rates,
       [](In in) -> Answer { return miettinen_nurminen_of(in).upper; }},
  };
}

}  // namespace

std::vector<Handler> proportion_handlers() {
  std::vector<Handler> handlers = interval_handlers();
  // Of two that could answer a row, the one that needs more inputs comes first.
  handlers.insert(
      handlers.end(),
      {{"", "p_two_sided", four_fields, [](In in) -> Answer { return fisher_of(in).two_sided; }},
       {"", "p_greater", four_fields, [](In in) -> Answer { return fisher_of(in).greater; }},
       {"", "p_less", four_fields, [](In in) -> Answer { return fisher_of(in).less; }},
       {"", "p_two_sided", "b c",
        [](In in) -> Answer {
          return analysis::mcnemar_exact(in.count("b"), in.count("c")).two_sided;
        }},
       {"", "p_two_sided", "x1 n1 x2 n2 statistic",
        [](In in) -> Answer { return barnard_of(in, Alternative::two_sided); }},
       {"", "p_greater", "x1 n1 x2 n2 statistic",
        [](In in) -> Answer { return barnard_of(in, Alternative::greater); }},
       {"", "p_less", "x1 n1 x2 n2 statistic",
        [](In in) -> Answer { return barnard_of(in, Alternative::less); }},
       {"", "p_two_sided", "x1 n1 x2 n2",
        [](In in) -> Answer { return boschloo_of(in, Alternative::two_sided); }},
       {"", "p_greater", "x1 n1 x2 n2",
        [](In in) -> Answer { return boschloo_of(in, Alternative::greater); }},
       {"", "p_less", "x1 n1 x2 n2",
        [](In in) -> Answer { return boschloo_of(in, Alternative::less); }}});
  return handlers;
}

}  // namespace plexor::reference
