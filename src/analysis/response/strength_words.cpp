#include "analysis/response/strength_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "analysis/number_text.hpp"

namespace plexor::analysis {
namespace {

constexpr std::uint64_t fewest_trials = 10;

std::string shown_count(const ShownDose& dose) {
  return fmt::format("{} of {}", dose.responded, dose.trials);
}

/// "0.385 to 0.441 m/s", "0.385 m/s to any", "any".
std::string ends_text(const Interval& interval, std::string_view unit) {
  if (interval.lower > 0.0 && std::isinf(interval.lower)) return "no strength";
  const bool has_lower = std::isfinite(interval.lower);
  const bool has_upper = std::isfinite(interval.upper);
  if (!has_lower && !has_upper) return "any strength is possible";
  if (!has_upper) return "at least " + speed_text(interval.lower, unit);
  if (!has_lower) return "at most " + speed_text(interval.upper, unit);
  return fmt::format("{} to {}", speed_text(interval.lower, ""), speed_text(interval.upper, unit));
}

std::string confident(double confidence) { return limit_text(confidence, ""); }

std::string share_text(double share) { return share == 0.5 ? "half" : limit_text(share, ""); }

/// "10 of 24 in the weaker half of the trials, 12 of 24 in the stronger".
std::string halves_text(const StrengthResponse& response) {
  ShownDose weaker;
  ShownDose stronger;
  std::uint64_t seen = 0;
  for (const ShownDose& dose : response.shown) {
    ShownDose& half = 2 * seen < response.trials ? weaker : stronger;
    half.responded += dose.responded;
    half.trials += dose.trials;
    seen += dose.trials;
  }
  return fmt::format("{} detected in the weaker half, {} in the stronger", shown_count(weaker),
                     shown_count(stronger));
}

}  // namespace

std::string speed_text(double strength, std::string_view unit) {
  const double speed = std::exp(strength);
  const int decimals = std::clamp(2 - static_cast<int>(std::floor(std::log10(speed))), 0, 9);
  return fmt::format("{:.{}f}{}{}", speed, decimals, unit.empty() ? "" : " ", unit);
}

std::optional<std::string> why_no_curve(const StrengthResponse& response, std::string_view unit) {
  if (response.trials == 0) return "there are no trials";
  const ShownDose& weakest = response.shown.front();
  const ShownDose& strongest = response.shown.back();
  if (response.responded == response.trials) {
    return fmt::format("tap softer: even the weakest, {}, were detected {} times",
                       speed_text(weakest.strength, unit), shown_count(weakest));
  }
  if (response.responded == 0) {
    return fmt::format("tap harder: even the strongest, {}, were detected {} times",
                       speed_text(strongest.strength, unit), shown_count(strongest));
  }
  if (!(response.weakest < response.strongest)) {
    return fmt::format("tap at other strengths too: all {} were at {}, and {} were detected",
                       counted(response.trials, "trial"), speed_text(response.weakest, unit),
                       response.responded);
  }
  if (response.trials < fewest_trials) {
    return fmt::format("tap more: {} are too few for a curve, {} are the least",
                       counted(response.trials, "trial"), fewest_trials);
  }
  return std::nullopt;
}

std::string why_no_slope(const StrengthResponse& response) {
  return fmt::format(
      "that harder taps are detected more often is not shown by {} ({}): tap more, or over a wider "
      "range",
      counted(response.trials, "trial"), halves_text(response));
}

std::string why_this_curve(const StrengthResponse& response) {
  if (response.basis == ResponseBasis::penalised) {
    return "logistic with Firth's penalty, because one strength divides detected from missed";
  }
  std::string why = "normal distribution of the threshold over ln strength";
  const auto add = [&](const RateBesideStrength& rate, std::string_view what) {
    if (!rate.is_in_curve) return;
    why += fmt::format(", with {} {} at any strength, which the data ask for (p = {:.2g})",
                       figure_text(rate.rate, ""), what, rate.p);
  };
  add(response.lapse, "missed");
  add(response.guess, "answered");
  return why;
}

std::string word_of(const StrengthAtShare& threshold, const StrengthResponse& response,
                    std::string_view unit) {
  const std::string share = share_text(threshold.share);
  if (!threshold.strength) {
    if (threshold.share > response.guess.rate) {
      return fmt::format("{} are detected at no strength: {} are missed at any ({} interval: {})",
                         share, figure_text(response.lapse.rate, ""),
                         confident(threshold.profile.confidence),
                         ends_text(threshold.profile, unit));
    }
    return fmt::format("{} are detected at any strength: {} are answered without one", share,
                       figure_text(response.guess.rate, ""));
  }
  std::string word = fmt::format(
      "{} are detected at {} ({} interval: {})", share, speed_text(*threshold.strength, unit),
      confident(threshold.profile.confidence), ends_text(threshold.profile, unit));
  if (threshold.is_extrapolated) {
    const bool is_above = *threshold.strength > response.strongest;
    word += fmt::format("; that is {} tapped, {}, and rests on the shape of the curve",
                        is_above ? "harder than the hardest" : "softer than the softest",
                        speed_text(is_above ? response.strongest : response.weakest, unit));
  }
  return word;
}

std::string answer_of(const StrengthResponse& response, std::string_view unit) {
  const auto brief = [&](const StrengthAtShare& threshold) {
    if (!threshold.strength) return threshold.word;
    return fmt::format("{} are detected at {}{} ({})", share_text(threshold.share),
                       speed_text(*threshold.strength, unit),
                       threshold.is_extrapolated ? ", beyond what was tapped" : "",
                       ends_text(threshold.profile, unit));
  };
  return fmt::format("{}; {}", brief(*response.s50), brief(*response.s95));
}

std::vector<std::string> strength_remarks(const StrengthResponse& response, bool is_step,
                                          std::string_view unit) {
  std::vector<std::string> remarks;
  if (response.basis == ResponseBasis::penalised || is_step) {
    remarks.push_back(
        fmt::format("detected and missed change over more sharply than the strengths tell apart; "
                    "tap more there "
                    "({}) to see how sharply",
                    ends_text(response.s50->profile, unit)));
  }
  if (response.heterogeneity > 1.0) {
    remarks.push_back(fmt::format(
        "the shares scatter about the curve more than chance lets them (p = {:.2g}): something "
        "else changed with the trials, and the intervals are too narrow by about {:.2g} times",
        response.goodness->p, std::sqrt(response.heterogeneity)));
  }
  for (const StrengthAtShare* threshold : {&*response.s50, &*response.s95}) {
    if (threshold->is_extrapolated || !threshold->strength) remarks.push_back(threshold->word);
  }
  if (!response.lapse.is_in_curve && response.lapse.upper > 1.0 - response.s95->share) {
    remarks.push_back(fmt::format(
        "that up to {} of taps are missed at any strength is not excluded; the strength for {} is "
        "that without such misses",
        figure_text(response.lapse.upper, ""), share_text(response.s95->share)));
  }
  return remarks;
}

}  // namespace plexor::analysis
