#pragma once

#include <span>
#include <string>
#include <vector>

#include "analysis/results.hpp"
#include "report/terminal.hpp"

// Several surfaces side by side: what surface runs found on each.

namespace plexor::report {

/// One rhythm with one device at one spot of one run.
struct SurfaceRow {
  std::string surface;
  std::string spot;
  std::string device;  ///< with its version
  std::string rhythm;
  std::string half;           ///< strike speed of which half is detected
  std::string half_interval;  ///< 95 %
  std::string most;           ///< and 95 %
  std::string most_interval;
  std::string energy;  ///< of half
  std::string peak;    ///< of the softest wanted knock, on the device's channel
  std::string lines;   ///< the strongest
  std::string decay;   ///< until 95 % of the taps are down in the noise
  std::string threshold;
  std::string lockout;
  std::string shortest_interval;  ///< that the surface allows with that lockout
};
/// In the order of the runs. Throws base::InputError for a run that has no strength curve.
[[nodiscard]] std::vector<SurfaceRow> surface_rows(std::span<const analysis::Results> runs);

[[nodiscard]] std::string surfaces_text(std::span<const SurfaceRow> rows);
[[nodiscard]] std::string surfaces_json(std::span<const analysis::Results> runs);
[[nodiscard]] std::string surfaces_page(std::span<const analysis::Results> runs,
                                        std::span<const SurfaceRow> rows);

}  // namespace plexor::report
