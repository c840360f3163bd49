#pragma once

#include <soci/soci.h>

#include <concepts>
#include <cstdint>
#include <optional>
#include <string>
#include <type_traits>
#include <vector>

#include "analysis/history/run_figures.hpp"

// Inside the room only. One value on its way into or out of a row.

namespace plexor::archive {

struct Cell {
  enum class Kind : std::uint8_t { integer, real, text };
  Kind kind = Kind::integer;
  long long integer = 0;
  double real = 0.0;
  std::string text{};
  soci::indicator known = soci::i_ok;
};
using Row = std::vector<Cell>;

/// The cause of a hole as the archive writes it.
[[nodiscard]] std::string text_of(analysis::Hole::Cause cause);
/// Throws base::RigFault for a text that is none.
[[nodiscard]] analysis::Hole::Cause cause_of(const std::string& text);

/// `text` as both engines keep it: what is not UTF-8, and NUL, becomes U+FFFD.
[[nodiscard]] std::string storable(std::string text);

// Whole numbers of 64 bits keep their bits: one beyond 2^63 stands in the archive as negative.
template <std::integral Number>
Cell cell_of(Number value) {
  return {.kind = Cell::Kind::integer, .integer = static_cast<long long>(value)};
}
inline Cell cell_of(double value) { return {.kind = Cell::Kind::real, .real = value}; }
inline Cell cell_of(const std::optional<double>& value) {
  return {.kind = Cell::Kind::real,
          .real = value.value_or(0.0),
          .known = value ? soci::i_ok : soci::i_null};
}
inline Cell cell_of(const std::string& text) {
  return {.kind = Cell::Kind::text, .text = storable(text)};
}
inline Cell cell_of(analysis::Hole::Cause cause) { return cell_of(text_of(cause)); }

template <std::integral Number>
void read_cell(const Cell& cell, Number& value) {
  value = static_cast<Number>(cell.integer);
}
inline void read_cell(const Cell& cell, double& value) { value = cell.real; }
inline void read_cell(const Cell& cell, std::optional<double>& value) {
  value = cell.known == soci::i_ok ? std::optional(cell.real) : std::nullopt;
}
inline void read_cell(const Cell& cell, std::string& text) { text = cell.text; }
inline void read_cell(const Cell& cell, analysis::Hole::Cause& cause) {
  cause = cause_of(cell.text);
}

/// Binds a cell to a statement; it must stay where it is while the statement lives.
void give(soci::statement& statement, Cell& cell);
void take(soci::statement& statement, Cell& cell);

}  // namespace plexor::archive
