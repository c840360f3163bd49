#include "app/slow_sensors.hpp"

#include <charconv>
#include <fstream>
#include <optional>
#include <string>

namespace plexor::app {

namespace {

using namespace std::chrono_literals;

constexpr base::Duration between_looks = 1s;
constexpr base::Duration look_up = 20ms;

/// Millidegrees Celsius in a file, as the kernel's drivers give them; nothing if it can't be read.
std::optional<double> temperature_c(const std::string& file) {
  std::ifstream in(file);
  std::string text;
  if (!std::getline(in, text)) return std::nullopt;
  long millidegrees = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), millidegrees);
  if (error != std::errc{} || end != text.data() + text.size()) return std::nullopt;
  return static_cast<double>(millidegrees) / 1000.0;
}

safety::Reading reading_of(const rig::RigFile& rig) {
  const auto body_c = temperature_c(rig.coil_sensor);
  if (!body_c) return safety::Reading::unknown;
  const bool cool = *body_c <= rig.limits.max_coil_c - rig.limits.coil_margin_k;
  return cool ? safety::Reading::good : safety::Reading::bad;
}

}  // namespace

SlowSensors::SlowSensors(const rig::RigFile& rig, run::LiveRig& live) {
  if (rig.coil_sensor.empty()) return;
  live.see(safety::Guard::coil_cool, reading_of(rig));  // known before anybody is asked for leave
  thread_ = std::thread([this, &rig, &live] {
    while (!over_) {
      live.see(safety::Guard::coil_cool, reading_of(rig));
      for (base::Duration left = between_looks; left > base::Duration{} && !over_;
           left -= look_up) {
        lines::kernel_nap(look_up);
      }
    }
  });
}

SlowSensors::~SlowSensors() {
  over_ = true;
  if (thread_.joinable()) thread_.join();
}

}  // namespace plexor::app
