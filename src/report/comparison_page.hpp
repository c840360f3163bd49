#pragma once

#include <string>

#include "analysis/comparing/compare.hpp"

namespace plexor::report {

/// Both releases side by side on one self-contained page. The markup is reports/comparison.html.
[[nodiscard]] std::string comparison_page(const analysis::Comparison& comparison);

}  // namespace plexor::report
