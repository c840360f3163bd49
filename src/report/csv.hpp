#pragma once

#include <string>
#include <string_view>

#include "analysis/analyse.hpp"
#include "journal/records.hpp"
#include "scenario/scenario.hpp"

// trials.csv, RFC 4180: comma, CRLF, text in double quotes where it needs them.
//
// Texts (rhythms, devices, events) come from outside and may be opened in a spreadsheet, which
// would take one that begins with = + - @ for a formula. Such a text gets an apostrophe in front
// and quotes around it; so does one that begins with an apostrophe. A program that reads the file
// back drops one leading apostrophe. Control characters and broken UTF-8 become U+FFFD.
//
// Lists in one cell are separated by spaces.

namespace plexor::report {

/// Adds a text from outside as one cell, quoted and defused as said above.
void append_text(std::string& out, std::string_view text);

/// The header line with its line end. The columns:
///   segment, block, trial, attempt   which presentation
///   kind                             rhythm, quiet or reference
///   rhythm, expects                  empty in quiet; expects is empty for a distractor too
///   device                           empty for reference taps, which no device answers
///   start_s                          planned first contact (quiet: begin), since the segment began
///   commanded_ms, measured_ms        contacts after the planned and after the first sensed contact
///   strike_m_s                       commanded; empty on a rig without calibration
///   on_time_ms                       commanded drive of each tap
///   coil_model_c                     modelled winding temperature, not measured
///   void                             why it does not count; else empty
///   outcome                          empty for void, quiet and reference trials
///   latency_ms, heard                the answering event, for void trials too
///   duplicates, gap_alarms, incidents  incidents: alarms in quiet
[[nodiscard]] std::string trials_csv_header();

/// One line for each device's answer to one presentation, appended to `out`.
void append_trial_rows(std::string& out, const journal::Header& header,
                       const scenario::Scenario& scenario, const analysis::TrialRow& row);

}  // namespace plexor::report
