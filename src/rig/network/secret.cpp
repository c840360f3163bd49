#include "rig/network/secret.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <array>
#include <cstdlib>
#include <cstring>

#include "base/error.hpp"
#include "lines/descriptor.hpp"

namespace plexor::rig {

namespace {

constexpr std::size_t longest_secret = 500;

lines::Descriptor open_to_read(const std::string& path) {
  return lines::Descriptor(open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK));
}

[[noreturn]] void fail(const std::string& file, const std::string& found) {
  throw base::InputError({file, 0, 0}, found, "a secret in a file that only its owner can read",
                         "a password or token is one line; chmod 600 the file");
}

/// Asked of the open file: who can read it must not change in between.
void check_owner_only(const lines::Descriptor& file, const std::string& path) {
  struct stat facts {};
  if (!file.is_open() || fstat(file.get(), &facts) != 0) {
    fail(path, base::last_reason());
  }
  if (!S_ISREG(facts.st_mode)) fail(path, "no regular file");
  if (facts.st_uid != geteuid() && facts.st_uid != 0) fail(path, "a file of another user");
  if ((facts.st_mode & (S_IRWXG | S_IRWXO)) != 0) {
    fail(path, fmt::format("mode {:o}: others can reach it", facts.st_mode & 0777U));
  }
}

std::string content_of(const std::string& path) {
  const lines::Descriptor file = open_to_read(path);
  check_owner_only(file, path);
  std::array<char, longest_secret + 3> buffer{};
  const ssize_t bytes = read(file.get(), buffer.data(), buffer.size());
  if (bytes < 0) fail(path, base::last_reason());
  return {buffer.data(), static_cast<std::size_t>(bytes)};
}

std::string value_of(const std::string& variable) {
  const char* value = std::getenv(variable.c_str());
  if (value != nullptr) return value;
  throw base::InputError({"environment", 0, 0}, fmt::format("no variable {}", variable),
                         "the secret that the rig file says is there",
                         fmt::format("{}=... before the command", variable));
}

}  // namespace

void check_owner_only(const std::string& file) { check_owner_only(open_to_read(file), file); }

std::string read_secret(const SecretPlace& place) {
  const bool is_file = !place.file.empty();
  std::string secret = is_file ? content_of(place.file) : value_of(place.variable);
  while (!secret.empty() && (secret.back() == '\n' || secret.back() == '\r')) secret.pop_back();
  const bool is_one_line =
      secret.find_first_of("\r\n") == std::string::npos && secret.find('\0') == std::string::npos;
  if (secret.empty() || secret.size() > longest_secret || !is_one_line) {
    fail(
        is_file ? place.file : place.variable,
        secret.empty() ? "nothing" : fmt::format("more than one line of {} bytes", longest_secret));
  }
  return secret;
}

}  // namespace plexor::rig
