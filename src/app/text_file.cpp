#include "app/text_file.hpp"

#include <fmt/format.h>

#include <cerrno>
#include <fstream>
#include <system_error>

#include "base/error.hpp"

namespace plexor::app {

namespace {

constexpr std::uintmax_t largest_file = 4U << 20U;

[[noreturn]] void refuse(const std::filesystem::path& path, const std::string& found) {
  throw base::InputError({path.string(), 0, 0}, found, "a readable TOML file",
                         "check the path and its permissions");
}

}  // namespace

std::string read_text_file(const std::filesystem::path& path) {
  std::error_code error;
  if (std::filesystem::is_directory(path, error)) refuse(path, "a folder");
  std::ifstream in(path, std::ios::binary);
  if (!in) refuse(path, std::error_code(errno, std::generic_category()).message());
  std::string text(largest_file + 1, '\0');
  in.read(text.data(), static_cast<std::streamsize>(text.size()));
  if (in.bad()) refuse(path, "an unreadable file");
  if (static_cast<std::uintmax_t>(in.gcount()) > largest_file) {
    refuse(path, fmt::format("more than {} MiB", largest_file >> 20U));
  }
  text.resize(static_cast<std::size_t>(in.gcount()));
  return text;
}

void check_page(const std::filesystem::path& page, const std::string& option) {
  std::error_code unknown;
  const auto folder = page.has_parent_path() ? page.parent_path() : std::filesystem::path(".");
  if (page.extension() != ".html") {
    throw base::InputError({option, 0, 0}, "\"" + page.string() + "\"",
                           "a name that ends in .html");
  }
  if (std::filesystem::exists(page, unknown) && !std::filesystem::is_regular_file(page, unknown)) {
    throw base::InputError({option, 0, 0}, page.string() + ", which is no file", "a page to write");
  }
  if (!std::filesystem::is_directory(folder, unknown)) {
    throw base::InputError({option, 0, 0}, "no folder " + folder.string(), "a folder that is there",
                           "make it first");
  }
}

}  // namespace plexor::app
