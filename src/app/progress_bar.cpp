#include "app/progress_bar.hpp"

#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <cstdio>
#include <utility>

#include "app/aside.hpp"

namespace plexor::app {

namespace {

using namespace std::chrono_literals;

constexpr auto quiet_at_first = 2s;
constexpr auto between_drawings = 100ms;
constexpr int bar_cells = 24;

std::string time_left(std::chrono::duration<double> spent, double share) {
  if (share <= 0.0) return "";
  const auto left = static_cast<long>(spent.count() * (1.0 - share) / share + 0.5);
  if (left >= 3600) return fmt::format("{} h {:02} min left", left / 3600, left % 3600 / 60);
  if (left >= 60) return fmt::format("{} min {:02} s left", left / 60, left % 60);
  return fmt::format("{} s left", left);
}

std::string bar(double share) {
  const int full = static_cast<int>(share * bar_cells + 0.5);
  std::string cells;
  for (int i = 0; i < bar_cells; ++i) cells += i < full ? "█" : "░";
  return cells;
}

}  // namespace

ProgressBar::ProgressBar(std::string what)
    : what_(std::move(what)),
      terminal_(isatty(STDERR_FILENO) == 1),
      begun_(WallClock::now()),
      last_(begun_) {}

ProgressBar::~ProgressBar() {
  if (drawn_) say_aside("\r\033[K");
}

void ProgressBar::show(double share, const std::string& note) {
  if (!terminal_) return;
  const auto now = WallClock::now();
  if (now - begun_ < quiet_at_first || now - last_ < between_drawings) return;
  last_ = now;
  drawn_ = true;
  share = std::clamp(share, 0.0, 1.0);
  say_aside("\r\033[K{} {} {:3.0f} %  {}{}{}", what_, bar(share), share * 100.0,
            time_left(now - begun_, share), note.empty() ? "" : "  ", note);
  std::fflush(stderr);
}

}  // namespace plexor::app
