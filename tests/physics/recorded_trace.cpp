#include "physics/recorded_trace.hpp"

#include <algorithm>
#include <fstream>
#include <sstream>
#include <stdexcept>

namespace plexor::physics {

double RecordedTrace::at(double time_s, std::size_t column) const {
  const auto after =
      std::find_if(rows.begin(), rows.end(), [&](const auto& row) { return row[0] >= time_s; });
  if (after == rows.begin()) return rows.front()[column];
  if (after == rows.end()) return rows.back()[column];
  const auto before = after - 1;
  const double part = (time_s - (*before)[0]) / ((*after)[0] - (*before)[0]);
  return (*before)[column] + part * ((*after)[column] - (*before)[column]);
}

RecordedTrace read_trace(std::istream& in) {
  RecordedTrace trace;
  std::string line;
  std::getline(in, line);
  while (std::getline(in, line)) {
    std::replace(line.begin(), line.end(), ',', ' ');
    std::istringstream numbers(line);
    std::vector<double> row;
    for (double number = 0.0; numbers >> number;) row.push_back(number);
    if (!row.empty()) trace.rows.push_back(row);
  }
  if (trace.rows.empty()) throw std::runtime_error("a trace without rows");
  return trace;
}

RecordedTrace reference_trace(const std::string& file) {
  std::ifstream in(std::string(PLEXOR_SOURCE_DIR) + "/tests/reference/" + file);
  if (!in) throw std::runtime_error("cannot open tests/reference/" + file);
  return read_trace(in);
}

}  // namespace plexor::physics
