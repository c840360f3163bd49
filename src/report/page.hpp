#pragma once

#include <string>

#include "analysis/results.hpp"

namespace plexor::report {

/// report.html: one self-contained file. The markup is reports/page.html.
[[nodiscard]] std::string report_page(const analysis::Results& results);

}  // namespace plexor::report
