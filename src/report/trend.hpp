#pragma once

#include <string>

#include "analysis/history/trend.hpp"
#include "report/terminal.hpp"

namespace plexor::report {

/// The answer for a terminal: one sentence, a table of the nights, then each finding.
[[nodiscard]] std::string trend_text(const analysis::Trend& trend, Style style);

/// The format of the trend's JSON document, described by reports/trend.schema.json.
inline constexpr int trend_format = 1;

/// All of it as one JSON document: stable key order, what is infinite is null.
[[nodiscard]] std::string trend_json(const analysis::Trend& trend);

/// All of it on one self-contained page with its charts. The markup is reports/trend.html.
[[nodiscard]] std::string trend_page(const analysis::Trend& trend);

}  // namespace plexor::report
