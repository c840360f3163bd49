#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "analysis/results.hpp"

// How the course of a run is told: the same on the terminal and on the page.

namespace plexor::report {

/// A figure's unit as keys have it: "share", "ms", "per_hour", "c".
[[nodiscard]] std::string_view unit_key(std::string_view unit);

/// "reboot", "killed", "interrupted", "fault".
[[nodiscard]] std::string_view hole_cause(analysis::Hole::Cause cause);

/// People's clocks were known for some of the listening.
[[nodiscard]] bool knows_hours_of_day(const analysis::Results& results);

/// "01:12", what local clocks said just before this moment of the run; empty where not known.
[[nodiscard]] std::string local_time_before(const analysis::Results& results, double run_s);

/// "not watched for 2 h 41 min after 01:12 (3:12:05 into the run): the computer began anew"
[[nodiscard]] std::string hole_text(const analysis::Results& results, const analysis::Hole& hole);

/// What happened beside the taps, a sentence each: holes, marked disturbances, power cycles, time
/// unheard. Many of a kind are told together.
[[nodiscard]] std::vector<std::string> course_sentences(const analysis::Results& results);

/// "detection 97.5 % to 100 % an hour, at most 3 false alarms in an hour (the 7th)": one device's
/// extremes.
[[nodiscard]] std::string extremes_text(const analysis::SoakResults& soak, std::size_t device);

}  // namespace plexor::report
