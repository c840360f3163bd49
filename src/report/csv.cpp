#include "report/csv.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cstdint>
#include <iterator>
#include <string_view>

#include "report/text.hpp"

namespace plexor::report {

namespace {

constexpr std::string_view line_end = "\r\n";

bool is_plain(char c) {
  return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '_' ||
         c == ' ' || c == '.' || c == '-';
}

/// Full-width forms count too: spreadsheets fold them to the plain signs.
bool could_be_formula(std::string_view text) {
  constexpr std::array<std::string_view, 9> starts{
      "=", "+", "-", "@", "'", "\xEF\xBC\x9D", "\xEF\xBC\x8B", "\xEF\xBC\x8D", "\xEF\xBC\xA0"};
  const std::size_t first = text.find_first_not_of(" \t\n");
  if (first == std::string_view::npos) return false;
  text.remove_prefix(first);
  return std::any_of(starts.begin(), starts.end(),
                     [text](std::string_view start) { return text.starts_with(start); });
}

void append_quoted(std::string& out, std::string_view text) {
  out += '"';
  for (const char c : text) {
    if (c == '"') out += '"';
    out += c;
  }
  out += '"';
}

}  // namespace

void append_text(std::string& out, std::string_view text) {
  const bool plain = std::all_of(text.begin(), text.end(), is_plain);
  if (plain && !could_be_formula(text)) {
    out += text;
    return;
  }
  std::string safe = printable(text);
  if (could_be_formula(safe)) safe.insert(0, 1, '\'');
  append_quoted(out, safe);
}

namespace {

template <typename Whole>
void append_whole(std::string& out, Whole value) {
  const fmt::format_int text(value);
  out.append(text.data(), text.size());
}

/// value / 10^decimals, exactly; "-12.345".
void append_decimal(std::string& out, std::int64_t value, std::size_t decimals) {
  if (value < 0) out += '-';
  const fmt::format_int digits(value < 0 ? -value : value);
  if (digits.size() <= decimals) {
    out += "0.";
    out.append(decimals - digits.size(), '0');
    out.append(digits.data(), digits.size());
    return;
  }
  const std::size_t whole = digits.size() - decimals;
  out.append(digits.data(), whole);
  out += '.';
  out.append(digits.data() + whole, decimals);
}

void append_ms(std::string& out, base::Duration duration) {
  append_decimal(out, duration.count() / 1000, 3);
}

/// Each element as `append` writes it, separated by spaces, and the comma after.
template <typename List, typename Append>
void append_list(std::string& out, const List& list, Append append) {
  bool first = true;
  for (const auto& element : list) {
    if (!first) out += ' ';
    first = false;
    append(element);
  }
  out += ',';
}

void append_identity(std::string& out, const analysis::TrialRow& row) {
  const base::TrialId& id = row.planned->trial.id;
  for (const std::uint32_t number : {row.segment, id.block, id.number, id.attempt}) {
    append_whole(out, number);
    out += ',';
  }
  out += base::to_text(row.planned->trial.kind);
  out += ',';
}

/// The part that all devices share, from start_s to void, with a comma after each.
void append_stimulus(std::string& out, const journal::Header& header,
                     const analysis::TrialRow& row) {
  const journal::TrialPlanned& planned = *row.planned;
  append_decimal(out, planned.start.time_since_epoch().count() / 1000, 6);
  out += ',';
  append_list(out, planned.trial.taps, [&](const base::Tap& tap) { append_ms(out, tap.contact); });
  const std::vector<base::Instant>& contacts = row.done->contacts;
  append_list(out, contacts, [&](base::Instant at) { append_ms(out, at - contacts.front()); });
  if (header.rig.calibrated) {
    append_list(out, planned.trial.taps,
                [&](const base::Tap& tap) { append_decimal(out, tap.strike.um_s / 1000, 3); });
  } else {
    out += ',';
  }
  append_list(out, planned.pulses,
              [&](const base::Pulse& pulse) { append_ms(out, pulse.on_time); });
  append_decimal(out, planned.coil_mc, 3);
  out += ',';
  if (row.settled->void_reason) out += base::to_text(*row.settled->void_reason);
  out += ',';
}

void append_answer(std::string& out, const analysis::TrialRow& row, const judge::Answer& answer) {
  const bool judged =
      row.settled->trial.kind == base::TrialKind::rhythm && !row.settled->void_reason;
  if (judged) out += base::to_text(answer.outcome);
  out += ',';
  if (answer.latency) append_ms(out, *answer.latency);
  out += ',';
  append_text(out, answer.heard);
  for (const std::size_t number :
       {std::size_t{answer.duplicates}, std::size_t{answer.gap_alarms}, answer.incidents.size()}) {
    out += ',';
    append_whole(out, number);
  }
}

}  // namespace

std::string trials_csv_header() {
  return "segment,block,trial,attempt,kind,rhythm,expects,device,listener,start_s,commanded_ms,"
         "measured_ms,"
         "strike_m_s,on_time_ms,coil_model_c,void,outcome,latency_ms,heard,duplicates,gap_alarms,"
         "incidents\r\n";
}

void append_trial_rows(std::string& out, const journal::Header& header,
                       const scenario::Scenario& scenario, const analysis::TrialRow& row) {
  const bool rhythmic = row.settled->trial.kind == base::TrialKind::rhythm;
  const auto append_start = [&](std::string_view device, std::string_view listener) {
    append_identity(out, row);
    if (rhythmic) append_text(out, scenario.rhythms.at(row.settled->trial.rhythm).name);
    out += ',';
    append_text(out, row.settled->trial.expects);
    out += ',';
    append_text(out, device);
    out += ',';
    append_text(out, listener);
    out += ',';
    append_stimulus(out, header, row);
  };
  const std::vector<judge::Answer>& answers = row.settled->answers;
  for (std::size_t device = 0; device < answers.size(); ++device) {
    const journal::DeviceFacts& facts = header.rig.devices.at(device);
    const auto append_heard = [&](std::size_t listener, const judge::Answer& answer) {
      append_start(facts.name, facts.listeners.empty() ? "" : facts.listeners.at(listener).name);
      append_answer(out, row, answer);
      out += line_end;
    };
    append_heard(0, answers[device]);
    for (std::size_t other = 0; other < answers[device].beside.size(); ++other) {
      append_heard(other + 1, answers[device].beside[other]);
    }
  }
  if (answers.empty()) {
    append_start("", "");
    out += ",,,,,";
    out += line_end;
  }
}

}  // namespace plexor::report
