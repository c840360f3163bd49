#pragma once

#include <string>
#include <utility>
#include <vector>

namespace plexor::report {

/// A curve over time.
struct Trace {
  std::string name;                               ///< "coil current"
  std::string unit;                               ///< "A"
  std::vector<std::pair<double, double>> points;  ///< milliseconds, value
};

/// One plot; a second curve gets an axis of its own on the right.
struct TracePlot {
  std::string title;
  std::string caption;        ///< what to see in it, in words
  std::string time_axis;      ///< what its times count from: "since contact"
  std::vector<Trace> traces;  ///< 1 or 2
};

/// One tap on one surface.
struct TracedTap {
  std::string surface;
  std::string rig;
  std::vector<std::pair<std::string, std::string>> figures;  ///< name and value with its unit
  std::vector<TracePlot> plots;
};

/// One self-contained page of simulated taps. Curves are thinned to what a
/// screen can show, without losing their extremes. The markup is reports/traces.html.
[[nodiscard]] std::string traces_page(const std::string& title, const std::vector<TracedTap>& taps);

}  // namespace plexor::report
