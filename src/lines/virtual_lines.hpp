#pragma once

#include "lines/lines.hpp"

namespace plexor::lines {

/// Lines of a virtual chip (virtual_chip.hpp), as request() gives them.
[[nodiscard]] std::unique_ptr<Lines> request_virtual(const std::string& file,
                                                     const std::vector<LineSetting>& settings);

}  // namespace plexor::lines
