#pragma once

#include <chrono>
#include <string>

namespace plexor::app {

/// A bar with the time left, on stderr if that is a terminal, from two seconds
/// of work on; silent otherwise. Cheap to call often.
class ProgressBar {
 public:
  explicit ProgressBar(std::string what);
  /// Wipes the bar.
  ~ProgressBar();
  ProgressBar(const ProgressBar&) = delete;
  ProgressBar& operator=(const ProgressBar&) = delete;

  /// `share` of the work done, 0 to 1; `note` is shown behind it.
  void show(double share, const std::string& note = {});

 private:
  using WallClock = std::chrono::steady_clock;

  std::string what_;
  bool terminal_;
  bool drawn_ = false;
  WallClock::time_point begun_;
  WallClock::time_point last_;
};

}  // namespace plexor::app
