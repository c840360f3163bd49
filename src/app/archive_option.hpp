#pragma once

#include <CLI/CLI.hpp>
#include <string>

namespace plexor::app {

/// --archive, as every command has it that uses one. `url` holds its default until then.
void add_archive_option(CLI::App& parser, std::string& url);
inline constexpr const char* default_archive = "reports/archive.sqlite";

}  // namespace plexor::app
