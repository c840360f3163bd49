#include <cmath>

#include "judge/sequential.hpp"
#include "judge/sequential_walk.hpp"
#include "reference/reference_check.hpp"

namespace plexor::reference {

namespace {

using judge::RateKind;

/// The table gives chances of a failure, the code takes detection rates.
judge::SequentialAim detection_aim(const Inputs& in) {
  return {.kind = RateKind::detection,
          .good = 1.0 - in.number("p0"),
          .bad = 1.0 - in.number("p1"),
          .alpha = in.number("alpha"),
          .beta = in.number("beta")};
}

judge::SequentialAim alarms_aim(const Inputs& in) {
  return {.kind = RateKind::alarms,
          .good = in.number("rate0"),
          .bad = in.number("rate1"),
          .alpha = in.number("alpha"),
          .beta = in.number("beta")};
}

judge::WaldLines detection_lines(const Inputs& in) { return judge::wald_lines(detection_aim(in)); }
judge::WaldLines alarms_lines(const Inputs& in) { return judge::wald_lines(alarms_aim(in)); }
judge::WaldAverages averages(const Inputs& in) { return judge::wald_averages(detection_aim(in)); }

/// The table's lines have no end: so long that nothing is left to run (less than half of that is,
/// after each average).
judge::SequentialDesign endless(const Inputs& in) {
  const judge::SequentialAim aim = detection_aim(in);
  return judge::wald_design(aim, std::ceil(100.0 * judge::wald_averages(aim).at_slope));
}

judge::SequentialChances chances(const Inputs& in) {
  return judge::sequential_chances(endless(in), 1.0 - in.number("true_p"));
}

Answer earliest_alarms_pass(const Inputs& in) {
  const judge::SequentialAim aim = alarms_aim(in);
  return judge::earliest_pass(judge::wald_design(aim, 100.0 / aim.good));
}

}  // namespace

std::vector<Handler> sequential_handlers() {
  using In = const Inputs&;
  constexpr std::string_view aim = "p0 p1 alpha beta";
  constexpr std::string_view alarms = "rate0 rate1 alpha beta";
  constexpr std::string_view truth = "p0 p1 alpha beta true_p";
  return {
      {"", "h_accept", aim, [](In in) -> Answer { return detection_lines(in).accept; }},
      {"", "h_reject", aim, [](In in) -> Answer { return detection_lines(in).reject; }},
      {"", "slope", aim, [](In in) -> Answer { return detection_lines(in).slope; }},
      {"", "logA", aim, [](In in) -> Answer { return detection_lines(in).log_a; }},
      {"", "logB", aim, [](In in) -> Answer { return detection_lines(in).log_b; }},
      {"", "asn_p0_wald", aim, [](In in) -> Answer { return averages(in).at_good; }},
      {"", "asn_p1_wald", aim, [](In in) -> Answer { return averages(in).at_bad; }},
      {"", "asn_at_slope_wald", aim, [](In in) -> Answer { return averages(in).at_slope; }},
      {"", "oc_at_slope_wald", aim, [](In in) -> Answer { return averages(in).passes_at_slope; }},
      {"", "n_min_accept", aim, [](In in) -> Answer { return earliest_pass(endless(in)); }},
      {"", "n_min_reject", aim,
       [](In in) -> Answer { return static_cast<double>(earliest_fail(endless(in))); }},
      {"", "prob_accept", truth, [](In in) -> Answer { return chances(in).pass; }},
      {"", "prob_reject", truth, [](In in) -> Answer { return chances(in).fail; }},
      {"", "asn", truth, [](In in) -> Answer { return chances(in).average; }},
      {"", "accept_intercept", alarms, [](In in) -> Answer { return alarms_lines(in).accept; }},
      {"", "reject_intercept", alarms, [](In in) -> Answer { return alarms_lines(in).reject; }},
      {"", "slope_per_time", alarms, [](In in) -> Answer { return alarms_lines(in).slope; }},
      {"", "time_min_accept_zero_events", alarms, earliest_alarms_pass},
  };
}

}  // namespace plexor::reference
