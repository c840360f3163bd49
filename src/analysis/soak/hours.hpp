#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "analysis/presentation.hpp"
#include "analysis/results.hpp"
#include "analysis/soak/local_clock.hpp"
#include "analysis/soak/marks.hpp"
#include "analysis/soak/run_mean.hpp"
#include "base/time.hpp"

namespace plexor::analysis {

/// Counts a run hour by hour of its own time. Keeps some hundred bytes an hour, a few bytes an
/// alarm, and the latencies of the hour under way. Presentations come in order of time.
class HoursTally {
 public:
  /// `reference_taps`: the tapper is judged by them alone, because they are all alike.
  HoursTally(std::size_t devices, bool reference_taps)
      : devices_(devices), reference_taps_(reference_taps) {}

  /// Valid taps of any kind.
  void taps(const Presentation& presentation);
  /// A valid trial of a rhythm.
  void rhythm(const Presentation& presentation);
  /// A valid quiet, parted.
  void quiet(const Presentation& presentation, const UndisturbedQuiet& parted,
             const LocalClock& clock);

  [[nodiscard]] std::vector<RunHour> hours(double duration_s);
  [[nodiscard]] TapperFigures tapper() const;
  /// When the device's undisturbed alarms came, in hours of undisturbed listening; rising.
  [[nodiscard]] const std::vector<double>& alarms_h(std::size_t device) const {
    return devices_[device].alarms_h;
  }
  [[nodiscard]] base::Duration listened() const { return listened_; }
  [[nodiscard]] const std::array<HourOfDay, 24>& by_hour_of_day(std::size_t device) const {
    return devices_[device].by_hour_of_day;
  }

 private:
  struct Counts {
    std::uint64_t hits = 0;
    std::uint64_t expecting = 0;
    std::uint64_t incidents = 0;
    std::uint64_t disturbed = 0;
    std::optional<double> median_ms;
  };
  struct Hour {
    std::uint64_t trials = 0;
    base::Duration listened{};
    RunMean transit_ms;
    RunMean coil_c;
    std::vector<Counts> devices;
  };
  struct Device {
    std::vector<double> latencies_ms;  ///< of the hour under way
    std::vector<double> alarms_h;
    std::array<HourOfDay, 24> by_hour_of_day{};
  };

  [[nodiscard]] Hour& at(base::Duration run_time);
  void close_medians();
  void listen(const base::Stretch& stretch, const LocalClock& clock);
  void alarm(std::size_t device, base::Duration at, const UndisturbedQuiet& parted,
             base::Duration listened_before, const LocalClock& clock);

  std::vector<Device> devices_;
  bool reference_taps_;
  std::vector<Hour> hours_;
  std::size_t medians_of_ = 0;  ///< the hour that latencies_ms are of
  base::Duration listened_{};
  RunMean transit_ms_;
  RunMean coil_c_;
};

}  // namespace plexor::analysis
