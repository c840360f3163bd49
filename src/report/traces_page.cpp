#include "report/traces_page.hpp"

#include <algorithm>
#include <cmath>

#include "report/assets.hpp"
#include "report/page_template.hpp"

namespace plexor::report {

namespace {

/// Of each stretch of the curve the lowest and the highest point, in their order.
View thinned(const std::vector<std::pair<double, double>>& points) {
  constexpr std::size_t most_stretches = 700;
  const std::size_t stretch = std::max<std::size_t>(1, points.size() / most_stretches);
  View out = View::array();
  const auto add = [&](const auto& point) {
    // Plots need no more digits than they have pixels.
    out.push_back({std::round(point.first * 1e4) / 1e4, std::round(point.second * 1e5) / 1e5});
  };
  for (std::size_t i = 0; i < points.size(); i += stretch) {
    const auto begin = points.begin() + static_cast<std::ptrdiff_t>(i);
    const auto end =
        points.begin() + static_cast<std::ptrdiff_t>(std::min(i + stretch, points.size()));
    auto [low, high] = std::minmax_element(
        begin, end, [](const auto& a, const auto& b) { return a.second < b.second; });
    if (low > high) std::swap(low, high);
    add(*low);
    if (low != high) add(*high);
  }
  return out;
}

View plot_data(const TracePlot& plot) {
  View traces = View::array();
  for (const Trace& trace : plot.traces) {
    traces.push_back(
        {{"name", trace.name}, {"unit", trace.unit}, {"points", thinned(trace.points)}});
  }
  return {{"time_axis", plot.time_axis}, {"steps", false}, {"traces", traces}};
}

/// One row for each figure, one column for each surface. All taps have the same figures.
View comparison(const std::vector<TracedTap>& taps) {
  View rows = View::array();
  for (std::size_t i = 0; i < taps.front().figures.size(); ++i) {
    View row{{"name", taps.front().figures[i].first}, {"values", View::array()}};
    for (const TracedTap& tap : taps) row["values"].push_back(tap.figures.at(i).second);
    rows.push_back(std::move(row));
  }
  return rows;
}

}  // namespace

std::string traces_page(const std::string& title, const std::vector<TracedTap>& taps) {
  View view{{"title", title},
            {"taps", View::array()},
            {"figures", taps.empty() ? View::array() : comparison(taps)}};
  View charts = View::array();
  for (const TracedTap& tap : taps) {
    View section{{"surface", tap.surface},
                 {"rig", tap.rig},
                 {"number", view["taps"].size()},
                 {"plots", View::array()}};
    for (const TracePlot& plot : tap.plots) {
      section["plots"].push_back(
          {{"chart", charts.size()}, {"title", plot.title}, {"caption", plot.caption}});
      charts.push_back(plot_data(plot));
    }
    view["taps"].push_back(std::move(section));
  }
  return filled_page(assets::traces_html, "reports/traces.html", view, assets::curves_js, charts);
}

}  // namespace plexor::report
