#include "analysis/remarks.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cstdint>
#include <optional>

#include "analysis/number_text.hpp"

namespace plexor::analysis {
namespace {

/// Fewer cases, or a smaller share of the trials, may be chance.
constexpr std::uint64_t fewest_cases = 5;
constexpr double smallest_share = 0.02;

/// Knocks of the rhythm that asks for this event.
std::optional<std::size_t> knocks_of(const std::string& event, const scenario::Scenario& scenario) {
  const auto rhythm =
      std::find_if(scenario.rhythms.begin(), scenario.rhythms.end(),
                   [&](const scenario::Rhythm& candidate) { return candidate.expects == event; });
  if (event.empty() || rhythm == scenario.rhythms.end()) return std::nullopt;
  return rhythm->contacts.size();
}

std::string sentence(const RhythmResult& rhythm, const std::string& heard, std::uint64_t cases,
                     std::size_t given, std::size_t taken) {
  const bool more = taken > given;
  return fmt::format("{} of {} presentations of {} were answered as {}, which has {} {}: {}", cases,
                     rhythm.correct.n, rhythm.rhythm, heard,
                     counted(more ? taken - given : given - taken, "knock"),
                     more ? "more" : "fewer",
                     more ? "one knock may have been heard as two; look at lockout and ring-down"
                          : "a knock may have gone unheard; look at threshold and lockout");
}

}  // namespace

std::vector<std::string> remarks_on(const DeviceResult& device,
                                    const scenario::Scenario& scenario) {
  std::vector<std::string> remarks;
  for (std::size_t row = 0; row < device.rhythms.size(); ++row) {
    const RhythmResult& rhythm = device.rhythms[row];
    const std::size_t given = scenario.rhythms[row].contacts.size();
    for (std::size_t column = 0; column < device.heard_names.size(); ++column) {
      const std::string& heard = device.heard_names[column];
      const std::uint64_t cases = device.confusion[row][column];
      const auto taken = knocks_of(heard, scenario);
      const bool often =
          cases >= fewest_cases &&
          static_cast<double>(cases) >= smallest_share * static_cast<double>(rhythm.correct.n);
      if (!often || !taken || *taken == given || heard == rhythm.expects) continue;
      remarks.push_back(sentence(rhythm, heard, cases, given, *taken));
    }
  }
  return remarks;
}

}  // namespace plexor::analysis
