#include <fmt/chrono.h>
#include <fmt/format.h>

#include <chrono>
#include <cmath>
#include <memory>
#include <string>

#include "app/commands.hpp"
#include "base/error.hpp"
#include "base/event.hpp"
#include "journal/outline.hpp"
#include "report/text.hpp"
#include "rig/wall_clock.hpp"
#include "run/marks.hpp"
#include "run/run_folder.hpp"
#include "run/run_lock.hpp"

namespace plexor::app {

namespace {

struct MarkOptions {
  std::string run;
  std::string name;
  double minutes = 1.0;
  bool ahead = false;
  std::string from;
  std::string to;
};

/// Whoever knows already what was heard could choose what to mark.
void refuse_unless_it_lives(const run::RunFolder& folder) {
  const journal::Outline outline = journal::outline_of(folder.journal());
  const base::Place place{folder.root.string(), 0, 0};
  if (outline.segment && outline.segment->boot_id == "virtual") {
    throw base::InputError(place, "a run in virtual time", "one in real time",
                           "what disturbs it stands in its rig file: [[simulated.disturbance]]");
  }
  if (run::is_live(folder.root)) return;
  throw base::InputError(place, "a run that does not go on", "one that does",
                         "mark while it lives: afterwards marks could be chosen by what was heard");
}

std::int64_t unix_ns_of(const std::string& text, const base::WallTime& now, const char* option) {
  const auto time = rig::local_time_of(text, now, rig::Side::last);
  if (time) return time->unix_ns;
  throw base::InputError({option, 0, 0}, "\"" + text + "\"",
                         "a time like \"02:40\" or \"2026-06-12 02:40\"");
}

std::string clock_text(std::int64_t unix_ns) {
  const auto since_epoch =
      std::chrono::floor<std::chrono::seconds>(std::chrono::nanoseconds{unix_ns});
  return fmt::format("{:%Y-%m-%d %H:%M:%S}",
                     fmt::localtime(static_cast<std::time_t>(since_epoch.count())));
}

/// Of what is longer ago the run believes nothing.
void refuse_what_is_past(const run::Mark& mark, const base::WallTime& now) {
  if (mark.to_unix_ns >= now.unix_ns - base::longest_unmarked.count()) return;
  throw base::InputError({"--to", 0, 0}, clock_text(mark.to_unix_ns) + ", more than an hour ago",
                         "a time within the last hour, or ahead",
                         "give the day too where it is ahead, as \"2026-06-12 02:40\"");
}

run::Mark mark_of(const MarkOptions& options) {
  const base::WallTime now = rig::wall_time_now();
  if (!std::isfinite(options.minutes)) {
    throw base::InputError({"--minutes", 0, 0}, "no number", "0.01 to 1440");
  }
  const std::chrono::duration<double, std::ratio<60>> minutes{options.minutes};
  const auto length = std::chrono::duration_cast<std::chrono::nanoseconds>(minutes).count();
  run::Mark mark{options.name, options.ahead ? now.unix_ns : now.unix_ns - length,
                 options.ahead ? now.unix_ns + length : now.unix_ns};
  if (!options.from.empty()) {
    mark.from_unix_ns = unix_ns_of(options.from, now, "--from");
    mark.to_unix_ns = unix_ns_of(options.to, now, "--to");
  }
  if (mark.from_unix_ns > mark.to_unix_ns) {
    throw base::InputError({"--to", 0, 0}, "\"" + options.to + "\" before --from",
                           "the end after the begin", "give the day too, as \"2026-06-12 02:40\"");
  }
  if (mark.name.empty() || mark.name.size() > run::longest_mark_name) {
    throw base::InputError({"NAME", 0, 0}, fmt::format("{} characters", mark.name.size()),
                           fmt::format("1 to {}", run::longest_mark_name));
  }
  refuse_what_is_past(mark, now);
  return mark;
}

ExitCode mark_run(const MarkOptions& options) {
  const run::RunFolder folder = run::open_run_folder(options.run);
  refuse_unless_it_lives(folder);
  const run::Mark mark = mark_of(options);
  run::append_mark(folder.marks(), mark);
  fmt::print("\"{}\" is marked from {} to {}; the run takes it up within a second.\n",
             report::printable_line(mark.name), clock_text(mark.from_unix_ns),
             clock_text(mark.to_unix_ns));
  return ExitCode::pass;
}

}  // namespace

CommandBody add_mark_command(CLI::App& parser) {
  const auto options = std::make_shared<MarkOptions>();
  parser.add_option("RUN", options->run, "Folder of the run that goes on")->required();
  parser.add_option("NAME", options->name, "What may have shaken the surface")->required();
  auto* minutes = parser
                      .add_option("--minutes", options->minutes,
                                  "It lasted so long, up to now; with --ahead: from now on")
                      ->check(CLI::Range(0.01, 1440.0))
                      ->capture_default_str();
  auto* ahead = parser.add_flag("--ahead", options->ahead, "It begins now");
  auto* from =
      parser.add_option("--from", options->from, "Its begin: \"02:40\", \"2026-06-12 02:40\"");
  auto* to = parser.add_option("--to", options->to, "Its end, likewise");
  from->needs(to)->excludes(minutes)->excludes(ahead);
  to->needs(from);
  parser.footer(
      "What devices report in that time is kept apart from false alarms. Only while the run goes\n"
      "on: afterwards a mark could be chosen by what was heard.\n"
      "Example: plexor mark reports/runs/2026-06-11_220000_soak \"kiln door\" --minutes 5");
  return [options] { return mark_run(*options); };
}

}  // namespace plexor::app
