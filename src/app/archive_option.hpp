#pragma once

#include <CLI/CLI.hpp>
#include <string>

#include "archive/address.hpp"

namespace plexor::app {

/// --archive, as every command has it that uses one. `url` holds its default until then.
void add_archive_option(CLI::App& parser, std::string& url);
/// Of an archive that is to be read: a file that is not there is no empty archive. Throws
/// base::InputError.
[[nodiscard]] archive::Address existing_archive(const std::string& url);
inline constexpr const char* default_archive = "reports/archive.sqlite";

}  // namespace plexor::app
