#include <fmt/format.h>

#include <filesystem>
#include <memory>
#include <string>
#include <string_view>
#include <system_error>
#include <vector>

#include "app/analyse_run.hpp"
#include "app/archive_option.hpp"
#include "app/commands.hpp"
#include "archive/address.hpp"
#include "archive/archive.hpp"
#include "base/error.hpp"

namespace plexor::app {

namespace {

struct ArchiveOptions {
  std::vector<std::string> runs;
  std::string archive = default_archive;
};

std::string_view word_for(archive::Imported became) {
  switch (became) {
    case archive::Imported::stored: return "stored";
    case archive::Imported::there_already: return "there already";
    case archive::Imported::replaced: return "replaced";
    case archive::Imported::has_more: return "has more";
  }
  return "stored";
}

ExitCode put_into_archive(const ArchiveOptions& options) {
  archive::Archive archive(archive::address_of(options.archive));
  for (const std::string& path : options.runs) {
    for (const run::RunFolder& folder : run::open_run_folders(path)) {
      const archive::Imported became = archive.import(figures_in(folder));
      fmt::print("{:<13}  {}\n", word_for(became), folder.root.string());
    }
  }
  return ExitCode::pass;
}

}  // namespace

void add_archive_option(CLI::App& parser, std::string& url) {
  parser
      .add_option("--archive", url,
                  "An SQLite file, or postgresql://user@host:port/database for several rigs")
      ->capture_default_str();
}

archive::Address existing_archive(const std::string& url) {
  archive::Address address = archive::address_of(url);
  std::error_code none;
  const bool is_file = address.engine == archive::Engine::sqlite;
  if (!is_file || std::filesystem::exists(address.connection, none)) return address;
  throw base::InputError({address.shown, 0, 0}, "no such file", "an archive",
                         "put runs into one with \"plexor archive\", or correct --archive");
}

CommandBody add_archive_command(CLI::App& parser) {
  const auto options = std::make_shared<ArchiveOptions>();
  parser.add_option("RUN", options->runs, "Runs, or folders with several")->required();
  add_archive_option(parser, options->archive);
  parser.footer(
      "A run is kept once, however often it is brought; one that went on since is replaced,\n"
      "of an older or cut copy nothing is taken.\n"
      "Example: plexor archive reports/runs");
  return [options] { return put_into_archive(*options); };
}

}  // namespace plexor::app
