#include <fmt/format.h>

#include "scenario/parse.hpp"

namespace plexor::scenario {

namespace {

using base::TableReader;

constexpr TableReader::Range confidence_range{0.5, 0.999999};
constexpr TableReader::Range latency_range_ms{0.001, 120'000.0};
constexpr TableReader::Range hourly_range{0.0, 1e6};

[[noreturn]] void refuse_sequential(const TableReader& table) {
  table.fail("sequential", "a sequential test",
             "a fixed limit: this build does not judge sequential tests",
             "give at_least or at_most with a confidence");
}

double read_expected(TableReader& table, const Limit& limit, TableReader::Range range) {
  const double expected = table.number("expected", range);
  const bool is_least = limit.side == Limit::Side::at_least;
  if (is_least ? expected > limit.value : expected < limit.value) return expected;
  table.fail("expected", fmt::format("{:g}", expected),
             fmt::format("a figure better than the limit of {:g}", limit.value),
             "a device that is just as good as its limit passes no test reliably");
}

/// One limit, `{ at_least = ..., confidence = ... }`, if it is there. Only one side makes sense
/// for each figure: nobody accepts a device for detecting too little.
std::optional<Limit> read_limit(TableReader& accept, const std::string& key, Limit::Side side,
                                TableReader::Range range) {
  if (!accept.has(key)) return std::nullopt;
  TableReader table = accept.table(key);
  if (table.has("sequential")) refuse_sequential(table);
  expect_keys(table, {"at_least", "at_most", "confidence", "expected"});
  const bool least = side == Limit::Side::at_least;
  const std::string right = least ? "at_least" : "at_most";
  refuse_keys(table, {least ? "at_most" : "at_least"},
              fmt::format("{}, the side on which this figure is good", right));
  Limit limit{.side = side,
              .value = table.number(right, range),
              .confidence = table.number_or("confidence", confidence_range, 0.95)};
  if (table.has("expected")) limit.expected = read_expected(table, limit, range);
  return limit;
}

double read_void_fraction(TableReader& accept, double fallback) {
  if (!accept.has("void_fraction")) return fallback;
  TableReader table = accept.table("void_fraction");
  expect_keys(table, {"at_most"});
  return table.number("at_most", rate_range);
}

}  // namespace

ReferenceTaps read_reference(TableReader table) {
  expect_keys(table, {"every_trials", "taps", "strike_m_s", "spacing_ms", "transit_tolerance_ms"});
  ReferenceTaps reference;
  reference.every_trials =
      static_cast<std::uint32_t>(table.whole("every_trials", 1, max_trials_per_block));
  reference.taps = table.has("taps")
                       ? static_cast<std::uint32_t>(
                             table.whole("taps", 1, static_cast<std::int64_t>(max_taps_per_rhythm)))
                       : 3;
  reference.strike = base::strike_speed_from_m_s(table.number("strike_m_s", strike_range_m_s));
  reference.spacing =
      table.duration_or("spacing_ms", {50.0, 10'000.0}, std::chrono::milliseconds{600});
  reference.transit_tolerance = table.duration("transit_tolerance_ms", {0.001, 100.0});
  return reference;
}

Accept read_accept(TableReader table) {
  if (table.has("sequential")) refuse_sequential(table);
  expect_keys(table, {"detection_rate", "confusion_rate", "false_response_rate",
                      "false_alarms_per_hour", "latency_p50_ms", "latency_p90_ms", "latency_p95_ms",
                      "latency_p99_ms", "void_fraction"});
  constexpr auto at_most = Limit::Side::at_most;
  Accept accept;
  accept.detection_rate = read_limit(table, "detection_rate", Limit::Side::at_least, rate_range);
  accept.confusion_rate = read_limit(table, "confusion_rate", at_most, rate_range);
  accept.false_response_rate = read_limit(table, "false_response_rate", at_most, rate_range);
  accept.false_alarms_per_hour = read_limit(table, "false_alarms_per_hour", at_most, hourly_range);
  for (const int percent : {50, 90, 95, 99}) {
    const std::string key = fmt::format("latency_p{}_ms", percent);
    if (const auto limit = read_limit(table, key, at_most, latency_range_ms)) {
      if (limit->expected) {
        table.fail(key, "\"expected\"", "only at_most and confidence for a latency",
                   "power is stated for half as many late answers as the limit allows");
      }
      accept.latencies.push_back({.quantile = percent / 100.0, .limit = *limit});
    }
  }
  accept.max_void_fraction = read_void_fraction(table, accept.max_void_fraction);
  return accept;
}

Margins read_margins(TableReader table) {
  expect_keys(table, {"detection_margin", "latency_margin_ms", "alarm_ratio", "confidence"});
  Margins margins;
  margins.given = true;
  margins.detection = table.number_or("detection_margin", {0.0, 0.5}, margins.detection);
  margins.latency_ms = table.number_or("latency_margin_ms", {0.0, 60'000.0}, margins.latency_ms);
  if (table.has("alarm_ratio")) margins.alarm_ratio = table.number("alarm_ratio", {1.0, 1000.0});
  margins.confidence = table.number_or("confidence", {0.5, 0.999999}, margins.confidence);
  return margins;
}

}  // namespace plexor::scenario
