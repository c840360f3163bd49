#pragma once

#include <string_view>

/// The page's parts, compiled in by embed.cmake from reports/ and from the system's Chart.js.
namespace plexor::report::assets {

extern const std::string_view head_html;     ///< of every page, but for its title
extern const std::string_view marks_html;    ///< the verdicts' marks
extern const std::string_view surface_html;  ///< of page_html: what a surface scenario found
extern const std::string_view soak_html;     ///< of page_html: a long run hour by hour
extern const std::string_view page_html;     ///< mustache template
extern const std::string_view page_css;
extern const std::string_view charts_js;  ///< what the pages' charts share; before each page's own
extern const std::string_view page_js;
extern const std::string_view surface_js;       ///< its charts, before page_js
extern const std::string_view soak_js;          ///< likewise
extern const std::string_view surfaces_html;    ///< mustache template
extern const std::string_view traces_html;      ///< mustache template
extern const std::string_view comparison_html;  ///< mustache template
extern const std::string_view trend_html;       ///< mustache template
extern const std::string_view trend_js;
extern const std::string_view curves_js;  ///< of both
extern const std::string_view chart_js;

}  // namespace plexor::report::assets
