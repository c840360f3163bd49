#include "run/marks.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <array>
#include <fstream>
#include <nlohmann/json.hpp>
#include <system_error>

#include "base/error.hpp"
#include "lines/descriptor.hpp"

namespace plexor::run {

namespace {

using Json = nlohmann::ordered_json;

/// Whoever writes more into the file than marks fills no memory.
constexpr std::size_t longest_line = 4096;

std::optional<std::int64_t> whole_number(const Json& json, const char* key) {
  const auto found = json.find(key);
  if (found == json.end() || !found->is_number_integer()) return std::nullopt;
  return found->get<std::int64_t>();
}

[[noreturn]] void fail(const std::filesystem::path& file) {
  throw base::RigFault(fmt::format("{}: the mark could not be kept ({}); the run goes on without",
                                   file.string(), base::last_reason()));
}

}  // namespace

std::string line_of(const Mark& mark) {
  const Json json = {
      {"name", mark.name}, {"from_unix_ns", mark.from_unix_ns}, {"to_unix_ns", mark.to_unix_ns}};
  return json.dump(-1, ' ', false, Json::error_handler_t::replace) + "\n";
}

std::optional<Mark> mark_in(std::string_view line) {
  const Json json = Json::parse(line, nullptr, false);
  if (!json.is_object()) return std::nullopt;
  const auto name = json.find("name");
  const auto from = whole_number(json, "from_unix_ns");
  const auto to = whole_number(json, "to_unix_ns");
  if (name == json.end() || !name->is_string() || !from || !to) return std::nullopt;
  Mark mark{name->get<std::string>(), *from, *to};
  const bool is_named = !mark.name.empty() && mark.name.size() <= longest_mark_name;
  if (!is_named || mark.from_unix_ns < 0 || mark.to_unix_ns < mark.from_unix_ns) {
    return std::nullopt;
  }
  return mark;
}

void append_mark(const std::filesystem::path& file, const Mark& mark) {
  constexpr mode_t mode = 0644;
  const std::string line = line_of(mark);
  const lines::Descriptor open_file(
      ::open(file.c_str(), O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, mode));
  if (!open_file.is_open()) fail(file);
  // One write: two people who mark at once don't write into each other's line.
  const ssize_t written = ::write(open_file.get(), line.data(), line.size());
  if (written != static_cast<ssize_t>(line.size()) || ::fsync(open_file.get()) != 0) fail(file);
}

std::optional<Mark> MarkSpool::next() {
  if (waiting_.empty()) read_on();
  if (waiting_.empty()) return std::nullopt;
  Mark mark = std::move(waiting_.front());
  waiting_.pop_front();
  return mark;
}

/// At most one buffer at a time: the run has other things to do.
void MarkSpool::read_on() {
  std::error_code none;
  const std::uintmax_t size = std::filesystem::file_size(file_, none);
  if (none || size <= offset_) return;
  std::ifstream in(file_, std::ios::binary);
  in.seekg(static_cast<std::streamoff>(offset_));
  std::array<char, longest_line> buffer{};
  in.read(buffer.data(), buffer.size());
  const auto got = static_cast<std::size_t>(in.gcount());
  offset_ += got;
  begun_.append(buffer.data(), got);
  for (std::size_t end = begun_.find('\n'); end != std::string::npos; end = begun_.find('\n')) {
    take_line(std::string_view{begun_}.substr(0, end));
    begun_.erase(0, end + 1);
  }
  if (begun_.size() <= longest_line) return;
  ++unreadable_;
  begun_.clear();
}

void MarkSpool::take_line(std::string_view line) {
  auto mark = mark_in(line);
  if (!mark) {
    ++unreadable_;
  } else if (known_ > 0) {
    --known_;
  } else {
    waiting_.push_back(*std::move(mark));
  }
}

}  // namespace plexor::run
