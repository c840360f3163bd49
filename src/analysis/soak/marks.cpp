#include "analysis/soak/marks.hpp"

#include <algorithm>
#include <iterator>

#include "analysis/figures.hpp"
#include "base/event.hpp"

namespace plexor::analysis {
namespace {

/// As many as a reader can tell apart; hands write any text.
constexpr std::size_t most_names = 20;

}  // namespace

std::uint32_t Marks::name_of(const journal::Disturbance& told) {
  auto& names = found_.by_name;
  const auto known = std::ranges::find_if(
      names, [&](const DisturbedBy& one) { return one.name == told.name && one.by == told.by; });
  if (known != names.end()) return static_cast<std::uint32_t>(known - names.begin());
  if (names.size() > most_names) return most_names;
  const bool is_room = names.size() < most_names;
  names.push_back({.name = is_room ? told.name : "other", .by = is_room ? told.by : ""});
  return static_cast<std::uint32_t>(names.size() - 1);
}

void Marks::add(const journal::Disturbance& told, base::Stretch mark) {
  const std::uint32_t name = name_of(told);
  ++found_.by_name[name].marks;
  if (told.from < told.believed_from()) ++found_.cut_short;
  if (mark.to < mark.from) return;
  if (found_.marks.size() < max_findings) {
    found_.marks.push_back(
        {.from_s = base::to_s(mark.from), .to_s = base::to_s(mark.to), .name = name});
  }
  const auto later = std::ranges::upper_bound(marks_, mark.from, {},
                                              [](const Mark& one) { return one.with_tail.from; });
  marks_.insert(later, {.with_tail = {mark.from, mark.to + tail_}, .name = name});
}

void Marks::segment_over(base::Duration end) {
  for (Mark& mark : marks_) mark.with_tail.to = std::min(mark.with_tail.to, end);
}

void Marks::forget_before(base::Duration run_time) {
  std::erase_if(marks_, [run_time](const Mark& mark) { return mark.with_tail.to < run_time; });
}

const Marks::Mark* Marks::covering(base::Duration at) const {
  for (const Mark& mark : marks_) {
    if (mark.with_tail.from > at) return nullptr;
    if (at <= mark.with_tail.to) return &mark;
  }
  return nullptr;
}

void Marks::part(judge::Answer& answer, const Presentation& quiet,
                 std::vector<base::Duration>* disturbed) {
  std::erase_if(answer.incidents, [&](base::Instant at) {
    const Mark* mark = covering(quiet.run_time(at));
    if (mark == nullptr) return false;
    if (disturbed != nullptr) {
      disturbed->push_back(quiet.run_time(at));
      ++found_.by_name[mark->name].incidents;
    }
    return true;
  });
}

UndisturbedQuiet Marks::part(Presentation& quiet) {
  const base::Duration from = quiet.run_time(quiet.planned.start);
  const base::Duration to = from + quiet.planned.trial.window;
  UndisturbedQuiet parted{
      .stretches = {},
      .disturbed = std::vector<std::vector<base::Duration>>(quiet.settled->answers.size())};
  base::Duration reached = from;
  for (const Mark& mark : marks_) {
    const base::Duration begin = std::clamp(mark.with_tail.from, reached, to);
    const base::Duration end = std::clamp(mark.with_tail.to, begin, to);
    if (begin > reached) parted.stretches.push_back({reached, begin});
    found_.by_name[mark.name].quiet_h += to_hours(end - begin);
    found_.quiet_h += to_hours(end - begin);
    reached = end;
  }
  if (to > reached) parted.stretches.push_back({reached, to});
  for (std::size_t device = 0; device < parted.disturbed.size(); ++device) {
    judge::Answer& answer = quiet.settled->answers[device];
    part(answer, quiet, &parted.disturbed[device]);
    for (judge::Answer& beside : answer.beside) part(beside, quiet, nullptr);
  }
  return parted;
}

}  // namespace plexor::analysis
