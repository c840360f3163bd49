#include "archive/cell.hpp"

#include <simdjson.h>

#include <array>
#include <string_view>
#include <utility>

#include "base/error.hpp"

namespace plexor::archive {

namespace {

using analysis::Hole;

constexpr std::array<std::pair<Hole::Cause, std::string_view>, 4> causes{{
    {Hole::Cause::reboot, "reboot"},
    {Hole::Cause::killed, "killed"},
    {Hole::Cause::interrupted, "interrupted"},
    {Hole::Cause::fault, "fault"},
}};

}  // namespace

std::string text_of(Hole::Cause cause) {
  for (const auto& [one, text] : causes) {
    if (one == cause) return std::string(text);
  }
  return {};
}

Hole::Cause cause_of(const std::string& text) {
  for (const auto& [cause, one] : causes) {
    if (one == text) return cause;
  }
  throw base::RigFault("archive: found a hole of cause \"" + text +
                       "\"; expected reboot, killed, interrupted or fault");
}

std::string storable(std::string text) {
  const bool is_utf8 = simdjson::validate_utf8(text.data(), text.size());
  if (is_utf8 && text.find('\0') == std::string::npos) return text;
  std::string kept;
  for (const char c : text) {
    constexpr unsigned char first_beyond_ascii = 0x80;
    const bool is_kept =
        c != '\0' && (is_utf8 || static_cast<unsigned char>(c) < first_beyond_ascii);
    if (is_kept) {
      kept += c;
    } else {
      kept += "\uFFFD";
    }
  }
  return kept;
}

void give(soci::statement& statement, Cell& cell) {
  switch (cell.kind) {
    case Cell::Kind::integer: statement.exchange(soci::use(cell.integer, cell.known)); break;
    case Cell::Kind::real: statement.exchange(soci::use(cell.real, cell.known)); break;
    case Cell::Kind::text: statement.exchange(soci::use(cell.text, cell.known)); break;
  }
}

void take(soci::statement& statement, Cell& cell) {
  switch (cell.kind) {
    case Cell::Kind::integer: statement.exchange(soci::into(cell.integer, cell.known)); break;
    case Cell::Kind::real: statement.exchange(soci::into(cell.real, cell.known)); break;
    case Cell::Kind::text: statement.exchange(soci::into(cell.text, cell.known)); break;
  }
}

}  // namespace plexor::archive
