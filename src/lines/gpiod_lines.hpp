#pragma once

#include "lines/lines.hpp"

namespace plexor::lines {

/// Lines of one of the kernel's GPIO chips by its device file, as request()
/// gives them. Made by gpiod_1_lines.cpp or gpiod_2_lines.cpp, whichever fits
/// the library that was there at build time.
[[nodiscard]] std::unique_ptr<Lines> request_gpiod(const std::string& chip,
                                                   const std::vector<LineSetting>& settings);

}  // namespace plexor::lines
