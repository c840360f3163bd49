#pragma once

#include <string>
#include <string_view>

#include "report/page_view.hpp"

namespace plexor::report {

/// A self-contained page: the template filled with `view`, with our style sheet, the chart
/// library, `script` and, for the script, `charts` in the element chart-data. `name` is the
/// template's file, for the message if it is broken (std::logic_error).
[[nodiscard]] std::string filled_page(std::string_view page_template, std::string_view name,
                                      const View& view, std::string_view script,
                                      const View& charts);

}  // namespace plexor::report
