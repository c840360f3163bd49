// Answers lines of "test inputs..." with numbers, for compare_with_scipy.py. A sample is given as
// its size and its sorted values, a list of units likewise.

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <cmath>
#include <iostream>
#include <map>
#include <sstream>
#include <string>
#include <vector>

#include "analysis/comparing/dispersion.hpp"
#include "analysis/comparing/paired.hpp"
#include "analysis/comparing/rate_ratio.hpp"
#include "analysis/comparing/two_proportions.hpp"
#include "analysis/comparing/two_sample.hpp"

namespace plexor::analysis {
namespace {

using Numbers = std::vector<double>;
constexpr double none = std::numeric_limits<double>::quiet_NaN();

template <typename Value>
Value next(std::istream& in) {
  Value value{};
  if (!(in >> value)) throw std::runtime_error("too few inputs");
  return value;
}

Successes proportion(std::istream& in) {
  const auto x = next<std::uint64_t>(in);
  return {x, next<std::uint64_t>(in)};
}

Events events(std::istream& in) {
  const auto count = next<std::uint64_t>(in);
  return {count, next<double>(in)};
}

Numbers sample(std::istream& in) {
  Numbers values(next<std::size_t>(in));
  for (double& value : values) value = next<double>(in);
  return values;
}

Numbers all_of(const PValues& p) { return {p.two_sided, p.greater, p.less}; }
Numbers all_of(const std::optional<PValues>& p) {
  return p ? all_of(*p) : Numbers{none, none, none};
}
Numbers ends(const Interval& interval) { return {interval.lower, interval.upper}; }

Numbers difference_of_rates(std::istream& in) {
  const Successes first = proportion(in);
  const Successes second = proportion(in);
  const auto confidence = next<double>(in);
  const Interval newcombe = newcombe_difference(first, second, confidence, Sides::two);
  const Interval score = miettinen_nurminen_difference(first, second, confidence, Sides::two);
  return {newcombe.lower, newcombe.upper, score.lower, score.upper};
}

Numbers exact_tests(std::istream& in) {
  const Successes first = proportion(in);
  const Successes second = proportion(in);
  Numbers p = all_of(fisher_exact(first, second));
  for (auto* test : {barnard_exact, boschloo_exact})
    for (const Alternative alternative :
         {Alternative::two_sided, Alternative::greater, Alternative::less})
      p.push_back(test(first, second, alternative).p);
  return p;
}

Numbers pairs(std::istream& in) {
  Pairs table;
  for (auto* count : {&table.both, &table.first_only, &table.second_only, &table.neither})
    *count = next<std::uint64_t>(in);
  Numbers values = ends(tango_difference(table, next<double>(in), Sides::two));
  for (const double p : all_of(mcnemar_exact(table.first_only, table.second_only)))
    values.push_back(p);
  return values;
}

Numbers rates(std::istream& in) {
  const Events first = events(in);
  const Events second = events(in);
  Numbers values = ends(rate_ratio_interval(first, second, next<double>(in), Sides::two));
  for (const double p : all_of(rate_ratio_exact(first, second, next<double>(in))))
    values.push_back(p);
  return values;
}

Numbers ranks(std::istream& in) {
  const Numbers first = sample(in);
  const Numbers second = sample(in);
  Numbers values{mann_whitney(first, second).u};
  for (const auto& p : {mann_whitney_exact(first, second), mann_whitney_normal(first, second, true),
                        mann_whitney_normal(first, second, false)})
    for (const double value : all_of(p)) values.push_back(value);
  const Shift shift = hodges_lehmann(first, second, 0.9);
  values.insert(values.end(), {shift.estimate.value_or(none), shift.lower, shift.upper});
  return values;
}

Numbers distances(std::istream& in) {
  const Numbers first = sample(in);
  const Numbers second = sample(in);
  const std::vector<Numbers> both{first, second};
  return {kolmogorov_smirnov(first, second), kolmogorov_smirnov_exact(first, second).value_or(none),
          kolmogorov_smirnov_limit(first, second), anderson_darling(both).standardised,
          quantile_difference(first, second, 0.9, 0.9, Joining::squared).estimate.value_or(none)};
}

Numbers dispersion(std::istream& in) {
  std::vector<Successes> units(next<std::size_t>(in));
  for (Successes& unit : units) unit = proportion(in);
  return {dispersion_of(units).chi_square};
}

}  // namespace
}  // namespace plexor::analysis

int main() {
  using namespace plexor::analysis;
  const std::map<std::string, Numbers (*)(std::istream&)> answers{
      {"difference_of_rates", difference_of_rates},
      {"exact_tests", exact_tests},
      {"pairs", pairs},
      {"rates", rates},
      {"ranks", ranks},
      {"distances", distances},
      {"dispersion", dispersion}};
  for (std::string line; std::getline(std::cin, line);) {
    std::istringstream in(line);
    std::string test;
    in >> test;
    fmt::print("{:.17g}\n", fmt::join(answers.at(test)(in), " "));
  }
}
