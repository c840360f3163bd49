#include "app/run_progress.hpp"

#include <fmt/format.h>

#include <memory>
#include <string>

#include "app/progress_bar.hpp"

namespace plexor::app {

namespace {

std::string note_of(const run::Progress& progress) {
  if (!progress.hung.empty()) return progress.hung;
  if (!progress.unheard.empty()) return progress.unheard + " can't be heard; the run waits";
  if (!progress.move_to.empty()) {
    return fmt::format("waits for the tapper to be moved to \"{}\"", progress.move_to);
  }
  if (!progress.leave_ended.empty()) return progress.leave_ended + "; only listening goes on";
  if (progress.expected == 0) return fmt::format("{} trials", progress.done);
  return fmt::format(
      "{} trials, {:.1f} % heard, {} void", progress.done,
      100.0 * static_cast<double>(progress.hits) / static_cast<double>(progress.expected),
      progress.voids);
}

}  // namespace

std::function<void(const run::Progress&)> progress_shown(const Onlookers& onlookers) {
  const auto bar = std::make_shared<ProgressBar>("tapping");
  return [bar, onlookers](const run::Progress& progress) {
    onlookers.publisher.progress(progress);
    const std::string note = note_of(progress);
    onlookers.service.status(fmt::format("{} to come; {}", progress.remaining, note));
    const auto whole = static_cast<double>(progress.done + progress.remaining);
    bar->show(static_cast<double>(progress.done) / whole, note);
  };
}

}  // namespace plexor::app
