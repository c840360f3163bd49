#include <algorithm>
#include <set>

#include <fmt/format.h>

#include "report/assets.hpp"
#include "report/page_template.hpp"
#include "report/page_view.hpp"
#include "report/surfaces.hpp"

namespace plexor::report {

std::string surfaces_page(std::span<const analysis::Results> runs,
                          std::span<const SurfaceRow> rows) {
  View shown = View::array();
  for (const SurfaceRow& row : rows) {
    shown.push_back({{"surface", row.surface},
                     {"spot", row.spot},
                     {"device", row.device},
                     {"rhythm", row.rhythm},
                     {"half", row.half},
                     {"half_interval", row.half_interval},
                     {"most", row.most},
                     {"most_interval", row.most_interval},
                     {"energy", row.energy},
                     {"peak", row.peak},
                     {"lines", row.lines},
                     {"decay", row.decay},
                     {"threshold", row.threshold},
                     {"lockout", row.lockout},
                     {"shortest_interval", row.shortest_interval}});
  }
  std::set<std::string> surfaces;
  for (const SurfaceRow& row : rows) surfaces.insert(row.surface);
  const bool simulated = std::any_of(runs.begin(), runs.end(), [](const analysis::Results& run) {
    return run.header.rig.simulated;
  });
  const View view{
      {"title", fmt::format("{} surface{}", surfaces.size(), surfaces.size() == 1 ? "" : "s")},
      {"simulated", simulated},
      {"rows", shown}};
  return filled_page(assets::surfaces_html, "reports/surfaces.html", view, "", View::object());
}

}  // namespace plexor::report
