#include "report/junit.hpp"

#include <fmt/format.h>

#include <iterator>
#include <string_view>
#include <vector>

#include "report/format.hpp"
#include "report/text.hpp"

namespace plexor::report {

namespace {

using analysis::Judgement;

/// For attributes and content alike: line feeds survive attribute normalisation as references.
std::string escaped(std::string_view text) {
  std::string out;
  for (const char c : printable(text)) {
    switch (c) {
      case '&': out += "&amp;"; break;
      case '<': out += "&lt;"; break;
      case '>': out += "&gt;"; break;
      case '"': out += "&quot;"; break;
      case '\'': out += "&apos;"; break;
      case '\n': out += "&#10;"; break;
      case '\t': out += "&#9;"; break;
      default: out += c;
    }
  }
  return out;
}

struct Case {
  std::string name;
  Judgement judgement = Judgement::undecided;
  std::string reason;
};

struct Suite {
  std::string name;
  std::vector<std::pair<std::string, std::string>> properties;
  std::vector<Case> cases;
  double seconds = 0.0;  ///< readers add up the suites: only the run's own suite has the duration

  [[nodiscard]] std::size_t count_of(Judgement judgement) const {
    std::size_t count = 0;
    for (const Case& one : cases) count += one.judgement == judgement ? 1 : 0;
    return count;
  }
};

Suite device_suite(const analysis::Results& results, const analysis::DeviceResult& device) {
  const journal::RigFacts& rig = results.header.rig;
  Suite suite{.name = device.name,
              .properties = {{"device.version", device.version},
                             {"surface", rig.surface},
                             {"spot", rig.spot},
                             {"mounting", rig.mounting}},
              .cases = {},
              .seconds = 0.0};
  for (const analysis::Verdict& verdict : results.verdicts) {
    if (verdict.device != device.name) continue;
    suite.cases.push_back({.name = verdict.figure + " " + limit_text(verdict),
                           .judgement = verdict.judgement,
                           .reason = verdict.reason});
  }
  return suite;
}

/// Keeps a run that is undecided as a whole (voids, damage, no limits) from looking green. A failed
/// limit is counted where it stands, not here again.
Suite run_suite(const analysis::Results& results) {
  const journal::Header& header = results.header;
  const bool is_undecided = results.overall == Judgement::undecided;
  return {.name = "run",
          .properties = {{"plexor.version", header.plexor_version},
                         {"seed", std::to_string(header.seed)},
                         {"rig", header.rig.name},
                         {"rig.simulated", header.rig.simulated ? "true" : "false"},
                         {"ended", ending_text(results)},
                         {"voids", void_reasons(results)}},
          .cases = {{.name = "run as a whole",
                     .judgement = is_undecided ? Judgement::undecided : Judgement::pass,
                     .reason = results.headline}},
          .seconds = results.duration_s};
}

void append_case(std::string& out, const std::string& classname, const Case& one) {
  auto to = std::back_inserter(out);
  fmt::format_to(to, R"(    <testcase name="{}" classname="{}")", escaped(one.name), classname);
  if (one.judgement == Judgement::pass) {
    fmt::format_to(to, ">\n      <system-out>{}</system-out>\n    </testcase>\n",
                   escaped(one.reason));
    return;
  }
  const std::string_view element = one.judgement == Judgement::fail ? "failure" : "error";
  fmt::format_to(to, ">\n      <{0} type=\"{1}\" message=\"{2}\">{2}</{0}>\n    </testcase>\n",
                 element, analysis::to_text(one.judgement), escaped(one.reason));
}

void append_counts(std::string& out, std::size_t tests, std::size_t failures, std::size_t errors,
                   double seconds) {
  fmt::format_to(std::back_inserter(out),
                 R"( tests="{}" failures="{}" errors="{}" skipped="0" time="{:.3f}")", tests,
                 failures, errors, seconds);
}

void append_suite(std::string& out, const analysis::Results& results, const Suite& suite) {
  auto to = std::back_inserter(out);
  fmt::format_to(to, R"(  <testsuite name="{}")", escaped(suite.name));
  append_counts(out, suite.cases.size(), suite.count_of(Judgement::fail),
                suite.count_of(Judgement::undecided), suite.seconds);
  if (results.host) {
    fmt::format_to(to, R"( timestamp="{}" hostname="{}")", escaped(results.host->started_utc),
                   escaped(results.host->host_name));
  }
  out += ">\n    <properties>\n";
  for (const auto& [name, value] : suite.properties) {
    fmt::format_to(to, "      <property name=\"{}\" value=\"{}\"/>\n", escaped(name),
                   escaped(value));
  }
  out += "    </properties>\n";
  const std::string classname = escaped(results.scenario_name) + "." + escaped(suite.name);
  for (const Case& one : suite.cases) append_case(out, classname, one);
  out += "  </testsuite>\n";
}

}  // namespace

std::string junit_xml(const analysis::Results& results) {
  std::vector<Suite> suites;
  for (const analysis::DeviceResult& device : results.devices) {
    suites.push_back(device_suite(results, device));
  }
  suites.push_back(run_suite(results));
  std::size_t tests = 0;
  std::size_t failures = 0;
  std::size_t errors = 0;
  for (const Suite& suite : suites) {
    tests += suite.cases.size();
    failures += suite.count_of(Judgement::fail);
    errors += suite.count_of(Judgement::undecided);
  }
  std::string out = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n";
  fmt::format_to(std::back_inserter(out), R"(<testsuites name="{}")",
                 escaped(results.scenario_name));
  append_counts(out, tests, failures, errors, results.duration_s);
  out += ">\n";
  for (const Suite& suite : suites) append_suite(out, results, suite);
  out += "</testsuites>\n";
  return out;
}

}  // namespace plexor::report
