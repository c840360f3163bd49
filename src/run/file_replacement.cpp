#include "run/file_replacement.hpp"

#include <fmt/format.h>

#include <cerrno>
#include <string>
#include <system_error>
#include <utility>

#include "base/error.hpp"

namespace plexor::run {

namespace {

std::string last_system_error() {
  return std::error_code(errno, std::generic_category()).message();
}

}  // namespace

FileReplacement::FileReplacement(std::filesystem::path path)
    : path_(std::move(path)), fresh_(path_.string() + ".new") {
  std::error_code absent;  // what an interrupted report left, or somebody put there: never followed
  std::filesystem::remove(fresh_, absent);
  out_.open(fresh_, std::ios::binary | std::ios::trunc);
  if (!out_) fail(last_system_error());
}

FileReplacement::~FileReplacement() {
  std::error_code ignored;  // nothing to remove after a commit
  std::filesystem::remove(fresh_, ignored);
}

void FileReplacement::write(std::string_view bytes) {
  out_.write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
  if (!out_) fail(last_system_error());
}

void FileReplacement::commit() {
  out_.close();
  if (!out_) fail(last_system_error());
  std::error_code error;
  std::filesystem::rename(fresh_, path_, error);
  if (error) fail(error.message());
}

void FileReplacement::fail(const std::string& reason) const {
  throw base::RigFault(fmt::format(
      "{}: could not be written ({}); the journal is kept: make room, then run \"plexor report\"",
      path_.string(), reason));
}

void replace_file(const std::filesystem::path& path, std::string_view content) {
  FileReplacement file(path);
  file.write(content);
  file.commit();
}

}  // namespace plexor::run
