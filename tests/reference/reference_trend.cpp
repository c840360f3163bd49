#include <algorithm>
#include <stdexcept>

#include "analysis/trend/control_charts.hpp"
#include "analysis/trend/event_trend.hpp"
#include "analysis/trend/series_trend.hpp"
#include "reference/reference_check.hpp"

namespace plexor::reference {

namespace {

using analysis::Truncation;

Truncation truncation_of(const Inputs& in) {
  const std::string& word = in.text("truncation");
  if (word == "time") return Truncation::time;
  if (word == "failure") return Truncation::event;
  throw std::invalid_argument("unknown truncation: " + word);
}

analysis::LaplaceTrend laplace_of(const Inputs& in) {
  return analysis::laplace_trend(in.numbers("times"), in.number("T"), truncation_of(in)).value();
}

analysis::PowerLawTest power_test_of(const Inputs& in) {
  return analysis::power_law_test(in.numbers("times"), in.number("T"), truncation_of(in)).value();
}

analysis::MannKendall kendall_of(const Inputs& in) {
  return analysis::mann_kendall(in.numbers("x"));
}

analysis::SenSlope sen_of(const Inputs& in) {
  return analysis::sen_slope(in.numbers("t"), in.numbers("x")).value();
}

analysis::Cusum cusum_of(const Inputs& in) {
  return analysis::cusum(in.numbers("x"), in.number("target"), in.number("k"), in.number("h"));
}

analysis::Ewma ewma_of(const Inputs& in) {
  return analysis::ewma(in.numbers("x"), in.number("target"), in.number("sigma"),
                        in.number("lambda"), in.number("L"));
}

/// Counted from 1; 0 without a signal.
double signal_of(const std::optional<std::size_t>& first) {
  return first ? static_cast<double>(*first + 1) : 0.0;
}

analysis::MeanTimeBetween mean_time_of(const Inputs& in) {
  return analysis::mean_time_between(in.count("failures"), in.number("total_time"),
                                     in.number("conf"), truncation_of(in));
}

analysis::PowerLaw power_of(const Inputs& in) {
  return analysis::power_law(in.numbers("times"), in.number("T")).value();
}

}  // namespace

std::vector<Handler> trend_handlers() {
  using In = const Inputs&;
  const char* watch = "times T truncation";
  const char* series = "x t";
  const char* sums = "x target k h";
  const char* means = "x target sigma lambda L";
  const char* failures = "failures total_time conf truncation";
  const char* law = "times T";
  return {
      {"", "z", watch, [](In in) -> Answer { return laplace_of(in).z; }},
      {"", "p_two", watch, [](In in) -> Answer { return laplace_of(in).p; }},
      {"", "mil_hdbk_chi2", watch, [](In in) -> Answer { return power_test_of(in).chi_square; }},
      {"", "mil_hdbk_df", watch, [](In in) -> Answer { return power_test_of(in).degrees; }},
      {"", "mil_hdbk_p_lower_tail", watch,
       [](In in) -> Answer { return power_test_of(in).p_denser; }},
      {"", "reversals", watch,
       [](In in) -> Answer {
         return static_cast<double>(analysis::reversals(in.numbers("times")));
       }},

      {"", "S", series, [](In in) -> Answer { return static_cast<double>(kendall_of(in).s); }},
      {"", "varS", series, [](In in) -> Answer { return kendall_of(in).variance; }},
      {"", "z_cc", series, [](In in) -> Answer { return kendall_of(in).z; }},
      {"", "p_two", series, [](In in) -> Answer { return kendall_of(in).p; }},
      {"", "sen_slope", series, [](In in) -> Answer { return sen_of(in).slope; }},
      {"", "sen_intercept", series, [](In in) -> Answer { return sen_of(in).intercept; }},

      {"", "S_hi_last", sums, [](In in) -> Answer { return cusum_of(in).high.back(); }},
      {"", "S_lo_last", sums, [](In in) -> Answer { return cusum_of(in).low.back(); }},
      {"", "S_hi_max", sums, [](In in) -> Answer { return std::ranges::max(cusum_of(in).high); }},
      {"", "S_lo_max", sums, [](In in) -> Answer { return std::ranges::max(cusum_of(in).low); }},
      {"", "first_signal_index", sums,
       [](In in) -> Answer { return signal_of(cusum_of(in).first_signal); }},

      {"", "z_1", means, [](In in) -> Answer { return ewma_of(in).means.front(); }},
      {"", "z_last", means, [](In in) -> Answer { return ewma_of(in).means.back(); }},
      {"", "z_min", means, [](In in) -> Answer { return std::ranges::min(ewma_of(in).means); }},
      {"", "z_max", means, [](In in) -> Answer { return std::ranges::max(ewma_of(in).means); }},
      {"", "ucl_steady", means,
       [](In in) -> Answer { return in.number("target") + ewma_of(in).steady_width; }},
      {"", "lcl_steady", means,
       [](In in) -> Answer { return in.number("target") - ewma_of(in).steady_width; }},
      {"", "ucl_exact_i1", means,
       [](In in) -> Answer { return in.number("target") + ewma_of(in).widths.front(); }},
      {"", "ucl_exact_i5", means,
       [](In in) -> Answer {
         const auto widths = ewma_of(in).widths;
         return in.number("target") + widths.at(std::min<std::size_t>(5, widths.size()) - 1);
       }},
      {"", "first_signal_exact_limits", means,
       [](In in) -> Answer { return signal_of(ewma_of(in).first_signal); }},

      {"", "mtbf", failures, [](In in) -> Answer { return mean_time_of(in).mean.value(); }},
      {"", "lower_two_sided", failures,
       [](In in) -> Answer { return mean_time_of(in).two_sided.lower; }},
      {"", "upper_two_sided", failures,
       [](In in) -> Answer { return mean_time_of(in).two_sided.upper; }},
      {"", "lower_one_sided", failures, [](In in) -> Answer { return mean_time_of(in).lower; }},
      {"", "factor_lower_two", failures,
       [](In in) -> Answer {
         return mean_time_of(in).two_sided.lower / mean_time_of(in).mean.value();
       }},
      {"", "factor_upper_two", failures,
       [](In in) -> Answer {
         return mean_time_of(in).two_sided.upper / mean_time_of(in).mean.value();
       }},

      {"", "b", law, [](In in) -> Answer { return power_of(in).b; }},
      {"", "growth", law, [](In in) -> Answer { return 1.0 - power_of(in).b; }},
      {"", "mtbf_end", law, [](In in) -> Answer { return power_of(in).mean_time_at_end; }},
      {"", "lower80", law, [](In in) -> Answer { return power_of(in).mean_time_interval.lower; }},
      {"", "upper80", law, [](In in) -> Answer { return power_of(in).mean_time_interval.upper; }},
  };
}

}  // namespace plexor::reference
