#include "report/page.hpp"

#include <string>

#include "report/assets.hpp"
#include "report/page_template.hpp"

namespace plexor::report {

std::string report_page(const analysis::Results& results) {
  return filled_page(assets::page_html, "reports/page.html", page_view(results),
                     std::string(assets::charts_js) + std::string(assets::surface_js) +
                         std::string(assets::soak_js) + std::string(assets::page_js),
                     chart_data(results));
}

}  // namespace plexor::report
