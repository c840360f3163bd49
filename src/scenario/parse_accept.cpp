#include <fmt/format.h>

#include <algorithm>

#include "scenario/parse.hpp"

namespace plexor::scenario {

namespace {

using base::TableReader;

constexpr TableReader::Range confidence_range{0.5, 0.999999};
constexpr TableReader::Range latency_range_ms{0.001, 120'000.0};
constexpr TableReader::Range hourly_range{0.0, 1e6};

constexpr TableReader::Range error_range{1e-6, 0.499999};
constexpr TableReader::Range inner_share_range{1e-6, 1.0 - 1e-6};
constexpr TableReader::Range inner_hourly_range{0.001, 1000.0};

double read_expected(TableReader& table, const Limit& limit, TableReader::Range range) {
  const double expected = table.number("expected", range);
  const bool is_least = limit.side == Limit::Side::at_least;
  if (is_least ? expected > limit.value : expected < limit.value) return expected;
  table.fail("expected", fmt::format("{:g}", expected),
             fmt::format("a figure better than the limit of {:g}", limit.value),
             "a device that is just as good as its limit passes no test reliably");
}

std::string side_key(Limit::Side side) {
  return side == Limit::Side::at_least ? "at_least" : "at_most";
}

void expect_good_to_be_better(const TableReader& table, const Sequential& test, Limit::Side side) {
  const bool is_better =
      side == Limit::Side::at_least ? test.good > test.bad : test.good < test.bad;
  if (is_better) return;
  table.fail("good", fmt::format("{:g}", test.good),
             fmt::format("a figure better than the bad one, {:g}", test.bad),
             "the test tells a good device from a bad one; between them it takes either");
}

/// `{ good, bad, alpha, beta }`; `bad` is given by what is around it where it is known.
Sequential read_sequential(TableReader table, Limit::Side side, TableReader::Range range,
                           std::optional<double> bad) {
  expect_keys(table, {"good", "bad", "alpha", "beta"});
  if (bad) {
    refuse_keys(table, {"bad"},
                fmt::format("only good, alpha and beta: {:g} of all trials within the latency is "
                            "the bad share",
                            *bad));
  }
  const double good = table.number("good", range);
  const Sequential test{.good = good,
                        .bad = bad ? *bad : table.number("bad", range),
                        .alpha = table.number_or("alpha", error_range, 0.05),
                        .beta = table.number_or("beta", error_range, 0.05)};
  expect_good_to_be_better(table, test, side);
  return test;
}

/// `{ sequential = { ... } }`
Limit read_sequential_limit(TableReader& table, Limit::Side side, TableReader::Range range) {
  refuse_keys(table, {"at_least", "at_most", "confidence", "expected"},
              "either sequential or a fixed limit");
  const Sequential test = read_sequential(table.table("sequential"), side, range, {});
  return {.side = side, .value = test.bad, .confidence = 1.0 - test.beta, .sequential = test};
}

/// One limit, `{ at_least = ..., confidence = ... }` or `{ sequential = { ... } }`, if it is there.
/// Only one side makes sense for each figure: nobody accepts a device for detecting too little.
std::optional<Limit> read_limit(TableReader& accept, const std::string& key, Limit::Side side,
                                TableReader::Range range, TableReader::Range sequential_range) {
  if (!accept.has(key)) return std::nullopt;
  TableReader table = accept.table(key);
  expect_keys(table, {"at_least", "at_most", "confidence", "expected", "sequential"});
  if (table.has("sequential")) return read_sequential_limit(table, side, sequential_range);
  const std::string right = side_key(side);
  refuse_keys(table, {right == "at_least" ? "at_most" : "at_least"},
              fmt::format("{}, the side on which this figure is good", right));
  Limit limit{.side = side,
              .value = table.number(right, range),
              .confidence = table.number_or("confidence", confidence_range, 0.95)};
  if (table.has("expected")) limit.expected = read_expected(table, limit, range);
  return limit;
}

/// `{ at_most = 900, confidence = ... }` or `{ at_most = 900, sequential = { good = 0.98 } }`
std::optional<LatencyLimit> read_latency(TableReader& accept, int percent) {
  const std::string key = fmt::format("latency_p{}_ms", percent);
  if (!accept.has(key)) return std::nullopt;
  TableReader table = accept.table(key);
  refuse_keys(table, {"expected"},
              "only at_most and confidence for a latency (power is stated for half as many late "
              "answers as the limit allows)");
  expect_keys(table, {"at_least", "at_most", "confidence", "sequential"});
  refuse_keys(table, {"at_least"}, "at_most, the side on which this figure is good");
  LatencyLimit latency{
      .quantile = percent / 100.0,
      .limit = {.side = Limit::Side::at_most, .value = table.number("at_most", latency_range_ms)}};
  if (!table.has("sequential")) {
    latency.limit.confidence = table.number_or("confidence", confidence_range, 0.95);
    return latency;
  }
  refuse_keys(table, {"confidence"}, "either sequential or a confidence");
  const Sequential test = read_sequential(table.table("sequential"), Limit::Side::at_least,
                                          inner_share_range, latency.quantile);
  latency.limit.sequential = test;
  latency.limit.confidence = 1.0 - test.beta;
  return latency;
}

/// A limit on the trials that expect an event, by its key.
struct NamedLimit {
  std::string key;
  bool is_sequential = false;
};

/// Where trials stop early, a test of a fixed number of them has lost its meaning.
void refuse_mixture(const TableReader& table, const Accept& accept) {
  std::vector<NamedLimit> limits;
  if (accept.detection_rate) {
    limits.push_back({"detection_rate", accept.detection_rate->sequential.has_value()});
  }
  if (accept.confusion_rate) {
    limits.push_back({"confusion_rate", accept.confusion_rate->sequential.has_value()});
  }
  for (const LatencyLimit& latency : accept.latencies) {
    limits.push_back({fmt::format("latency_p{:.6g}_ms", latency.quantile * 100.0),
                      latency.limit.sequential.has_value()});
  }
  const auto find = [&](bool sequential) {
    return std::find_if(limits.begin(), limits.end(),
                        [&](const NamedLimit& limit) { return limit.is_sequential == sequential; });
  };
  const auto fixed = find(false);
  const auto sequential = find(true);
  if (fixed == limits.end() || sequential == limits.end()) return;
  table.fail(fixed->key,
             fmt::format("a fixed limit on the trials that {} may stop early", sequential->key),
             "a sequential limit", "make all limits on these trials sequential, or none");
}

bool is_sequential(const std::optional<Limit>& limit) { return limit && limit->sequential; }

double read_void_fraction(TableReader& accept, double fallback) {
  if (!accept.has("void_fraction")) return fallback;
  TableReader table = accept.table("void_fraction");
  expect_keys(table, {"at_most"});
  return table.number("at_most", rate_range);
}

}  // namespace

bool Accept::expecting_may_stop() const {
  return is_sequential(detection_rate) || is_sequential(confusion_rate) ||
         std::any_of(latencies.begin(), latencies.end(), [](const LatencyLimit& latency) {
           return latency.limit.sequential.has_value();
         });
}

bool Accept::distractors_may_stop() const { return is_sequential(false_response_rate); }

bool Accept::quiet_may_stop() const { return is_sequential(false_alarms_per_hour); }

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
  expect_keys(table, {"detection_rate", "confusion_rate", "false_response_rate",
                      "false_alarms_per_hour", "latency_p50_ms", "latency_p90_ms", "latency_p95_ms",
                      "latency_p99_ms", "void_fraction"});
  constexpr auto at_most = Limit::Side::at_most;
  const auto share = [&](const std::string& key, Limit::Side side) {
    return read_limit(table, key, side, rate_range, inner_share_range);
  };
  Accept accept;
  accept.detection_rate = share("detection_rate", Limit::Side::at_least);
  accept.confusion_rate = share("confusion_rate", at_most);
  accept.false_response_rate = share("false_response_rate", at_most);
  accept.false_alarms_per_hour =
      read_limit(table, "false_alarms_per_hour", at_most, hourly_range, inner_hourly_range);
  for (const int percent : {50, 90, 95, 99}) {
    if (const auto latency = read_latency(table, percent)) accept.latencies.push_back(*latency);
  }
  refuse_mixture(table, accept);
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
