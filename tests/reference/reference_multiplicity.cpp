#include "analysis/comparing/multiplicity.hpp"
#include "reference/reference_check.hpp"

namespace plexor::reference {

namespace {

using analysis::Adjustment;

template <Adjustment adjustment>
Answer adjusted_of(const Inputs& in) {
  return analysis::adjusted(in.numbers("p"), adjustment);
}

template <Adjustment adjustment>
Answer rejections_of(const Inputs& in) {
  const std::vector<double> adjusted = analysis::adjusted(in.numbers("p"), adjustment);
  return static_cast<double>(analysis::rejections(adjusted, 0.05));
}

}  // namespace

std::vector<Handler> multiplicity_handlers() {
  return {
      {"", "adj_bonferroni", "p", adjusted_of<Adjustment::bonferroni>},
      {"", "adj_holm", "p", adjusted_of<Adjustment::holm>},
      {"", "adj_hochberg", "p", adjusted_of<Adjustment::hochberg>},
      {"", "adj_BH", "p", adjusted_of<Adjustment::benjamini_hochberg>},
      {"", "adj_BY", "p", adjusted_of<Adjustment::benjamini_yekutieli>},
      {"", "n_reject_005_bonferroni", "p", rejections_of<Adjustment::bonferroni>},
      {"", "n_reject_005_holm", "p", rejections_of<Adjustment::holm>},
      {"", "n_reject_005_hochberg", "p", rejections_of<Adjustment::hochberg>},
      {"", "n_reject_005_BH", "p", rejections_of<Adjustment::benjamini_hochberg>},
      {"", "n_reject_005_BY", "p", rejections_of<Adjustment::benjamini_yekutieli>},
  };
}

}  // namespace plexor::reference
