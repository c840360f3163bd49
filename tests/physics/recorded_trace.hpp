#pragma once

#include <istream>
#include <string>
#include <vector>

namespace plexor::physics {

/// Columns of numbers over time; time in the first.
struct RecordedTrace {
  std::vector<std::vector<double>> rows;

  /// The value of a column at a time, between rows along a straight line. Clamped to the ends.
  [[nodiscard]] double at(double time_s, std::size_t column = 1) const;
  [[nodiscard]] double end_s() const { return rows.back().front(); }
};

/// Lines of numbers, apart by commas or blanks; the first line is a heading.
[[nodiscard]] RecordedTrace read_trace(std::istream& in);

/// A trace of tests/reference.
[[nodiscard]] RecordedTrace reference_trace(const std::string& file);

}  // namespace plexor::physics
