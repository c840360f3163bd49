#include <cmath>
#include <stdexcept>

#include "analysis/response/binary_response.hpp"
#include "analysis/response/penalised_profile.hpp"
#include "analysis/response/rated_response.hpp"
#include "analysis/response/up_and_down.hpp"
#include "reference/reference_check.hpp"

namespace plexor::reference {

namespace {

using analysis::Dose;
using analysis::Link;
using analysis::ResponseFit;
using analysis::Threshold;

Link link_of(const Inputs& in) {
  const std::string& link = in.text("link");
  if (link == "logit") return Link::logit;
  if (link == "probit") return Link::probit;
  if (link == "cloglog") return Link::cloglog;
  throw std::invalid_argument("unknown link: " + link);
}

std::vector<Dose> grouped(const Inputs& in) {
  const auto strengths = in.numbers("dose");
  const auto responded = in.numbers("responded");
  const auto trials = in.numbers("n");
  std::vector<Dose> doses;
  for (std::size_t i = 0; i < strengths.size(); ++i) {
    doses.push_back({strengths[i], static_cast<std::uint64_t>(responded.at(i)),
                     static_cast<std::uint64_t>(trials.at(i))});
  }
  return doses;
}

std::vector<Dose> single(const Inputs& in) {
  const auto strengths = in.numbers("x");
  const auto responded = in.numbers("y");
  std::vector<Dose> doses;
  for (std::size_t i = 0; i < strengths.size(); ++i) {
    doses.push_back({strengths[i], responded.at(i) > 0.0 ? 1U : 0U, 1});
  }
  return doses;
}

ResponseFit fit_of(const Inputs& in) {
  return analysis::fit_response(grouped(in), link_of(in)).value();
}

ResponseFit penalised_of(const Inputs& in) { return analysis::fit_penalised(single(in)).value(); }

Threshold half_of(const Inputs& in) {
  return analysis::threshold_of(fit_of(in), 0.5, in.number("conf")).value();
}

analysis::RatedFit rated_of(const Inputs& in) {
  const std::string& rates = in.text("rates");
  const bool both = rates == "both";
  return analysis::fit_rated(grouped(in), {.link = link_of(in),
                                           .guess = {0.0, both || rates == "guess"},
                                           .lapse = {0.0, both || rates == "lapse"}})
      .value();
}

analysis::Interval profile_of(const Inputs& in) {
  return analysis::profile_strength(grouped(in), rated_of(in), in.number("share"),
                                    in.number("conf"));
}

analysis::Interval penalised_profile_of(const Inputs& in) {
  return analysis::penalised_strength_interval(single(in), penalised_of(in), in.number("share"),
                                               in.number("conf"));
}

analysis::Interval penalised_slope_of(const Inputs& in) {
  return analysis::penalised_slope_interval(single(in), penalised_of(in), in.number("conf"));
}

double penalised_log_likelihood_of(const Inputs& in) {
  const ResponseFit fit = penalised_of(in);
  return analysis::penalised_log_likelihood(single(in), fit.intercept, fit.slope);
}

std::string separation_of(const Inputs& in) {
  switch (analysis::separation_of(single(in))) {
    case analysis::Separation::overlap: return "overlap";
    case analysis::Separation::quasi_complete: return "quasi-complete";
    case analysis::Separation::complete: return "complete";
    case analysis::Separation::one_class: return "one-class";
  }
  return "";
}

analysis::UpDownEstimate up_and_down_of(const Inputs& in) {
  const auto levels = in.numbers("levels");
  const auto responded = in.numbers("response");
  std::vector<analysis::UpDownTrial> trials;
  for (std::size_t i = 0; i < levels.size(); ++i) {
    trials.push_back({levels[i], responded.at(i) > 0.0});
  }
  return analysis::up_and_down(trials, in.number("step")).value();
}

}  // namespace

std::vector<Handler> response_handlers() {
  using In = const Inputs&;
  const char* glm = "dose responded n link conf";
  const char* one_by_one = "x y";
  const char* rated = "dose responded n link rates share conf";
  const char* penalised = "x y share conf";
  const char* series = "levels response step";
  return {
      {"", "intercept", glm, [](In in) -> Answer { return fit_of(in).intercept; }},
      {"", "slope", glm, [](In in) -> Answer { return fit_of(in).slope; }},
      {"", "se_intercept", glm,
       [](In in) -> Answer { return std::sqrt(fit_of(in).intercept_variance); }},
      {"", "se_slope", glm, [](In in) -> Answer { return std::sqrt(fit_of(in).slope_variance); }},
      {"", "cov_intercept_slope", glm, [](In in) -> Answer { return fit_of(in).covariance; }},
      {"", "deviance", glm, [](In in) -> Answer { return fit_of(in).deviance; }},
      {"", "df_residual", glm, [](In in) -> Answer { return fit_of(in).degrees; }},
      {"", "pearson_chi2", glm, [](In in) -> Answer { return fit_of(in).pearson; }},
      {"", "logLik_kernel", glm, [](In in) -> Answer { return fit_of(in).log_likelihood; }},
      {"", "x50", glm, [](In in) -> Answer { return half_of(in).strength; }},
      {"", "x50_se_delta", glm, [](In in) -> Answer { return half_of(in).standard_error; }},
      {"", "x50_delta_lower", glm, [](In in) -> Answer { return half_of(in).delta.lower; }},
      {"", "x50_delta_upper", glm, [](In in) -> Answer { return half_of(in).delta.upper; }},
      {"", "fieller_g", glm, [](In in) -> Answer { return half_of(in).fieller_g; }},
      {"", "fieller_status", glm,
       [](In in) -> Answer { return std::string(half_of(in).fieller ? "bounded" : "unbounded"); }},
      {"", "x50_fieller_lower", glm,
       [](In in) -> Answer { return half_of(in).fieller.value().lower; }},
      {"", "x50_fieller_upper", glm,
       [](In in) -> Answer { return half_of(in).fieller.value().upper; }},

      {"", "separation", one_by_one, [](In in) -> Answer { return separation_of(in); }},
      {"", "mle_exists", one_by_one,
       [](In in) -> Answer { return analysis::fit_response(single(in), Link::logit) ? 1.0 : 0.0; }},
      {"", "intercept", one_by_one, [](In in) -> Answer { return penalised_of(in).intercept; }},
      {"", "slope", one_by_one, [](In in) -> Answer { return penalised_of(in).slope; }},
      {"", "se_intercept", one_by_one,
       [](In in) -> Answer { return std::sqrt(penalised_of(in).intercept_variance); }},
      {"", "se_slope", one_by_one,
       [](In in) -> Answer { return std::sqrt(penalised_of(in).slope_variance); }},
      {"", "x50", one_by_one,
       [](In in) -> Answer {
         return analysis::threshold_of(penalised_of(in), 0.5, 0.95).value().strength;
       }},

      {"", "rated_guess", rated, [](In in) -> Answer { return rated_of(in).guess; }},
      {"", "rated_lapse", rated, [](In in) -> Answer { return rated_of(in).lapse; }},
      {"", "rated_intercept", rated, [](In in) -> Answer { return rated_of(in).intercept; }},
      {"", "rated_slope", rated, [](In in) -> Answer { return rated_of(in).slope; }},
      {"", "rated_logLik", rated, [](In in) -> Answer { return rated_of(in).log_likelihood; }},
      {"", "rated_guess_upper", rated,
       [](In in) -> Answer {
         return analysis::upper_bound_of_guess(grouped(in), rated_of(in), in.number("conf"));
       }},
      {"", "rated_lapse_upper", rated,
       [](In in) -> Answer {
         return analysis::upper_bound_of_lapse(grouped(in), rated_of(in), in.number("conf"));
       }},
      {"", "profile_lower", rated, [](In in) -> Answer { return profile_of(in).lower; }},
      {"", "profile_upper", rated, [](In in) -> Answer { return profile_of(in).upper; }},

      {"", "penalised_logLik", penalised,
       [](In in) -> Answer { return penalised_log_likelihood_of(in); }},
      {"", "penalised_slope_lower", penalised,
       [](In in) -> Answer { return penalised_slope_of(in).lower; }},
      {"", "penalised_slope_upper", penalised,
       [](In in) -> Answer { return penalised_slope_of(in).upper; }},
      {"", "penalised_lower", penalised,
       [](In in) -> Answer { return penalised_profile_of(in).lower; }},
      {"", "penalised_upper", penalised,
       [](In in) -> Answer { return penalised_profile_of(in).upper; }},

      {"", "used_event", series,
       [](In in) -> Answer { return up_and_down_of(in).from_responses ? 1.0 : 0.0; }},
      {"", "N", series,
       [](In in) -> Answer { return static_cast<double>(up_and_down_of(in).used); }},
      {"", "A", series, [](In in) -> Answer { return static_cast<double>(up_and_down_of(in).a); }},
      {"", "B", series, [](In in) -> Answer { return static_cast<double>(up_and_down_of(in).b); }},
      {"", "M", series, [](In in) -> Answer { return up_and_down_of(in).m; }},
      {"", "mean", series, [](In in) -> Answer { return up_and_down_of(in).median; }},
      {"", "sd", series, [](In in) -> Answer { return up_and_down_of(in).sd.value(); }},
      {"", "sd_status", series,
       [](In in) -> Answer {
         return std::string(up_and_down_of(in).sd ? "valid" : "formula not valid (M<=0.3)");
       }},
  };
}

}  // namespace plexor::reference
