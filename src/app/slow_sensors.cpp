#include "app/slow_sensors.hpp"

#include <charconv>
#include <filesystem>
#include <fstream>
#include <optional>
#include <string>
#include <utility>

namespace plexor::app {

namespace {

using namespace std::chrono_literals;

constexpr base::Duration between_looks = 1s;
constexpr base::Duration look_up = 20ms;

/// The whole number that a file of the kernel's drivers holds; nothing if it can't be read.
std::optional<long> number_in(const std::string& file) {
  std::error_code none;
  if (!std::filesystem::is_regular_file(file, none)) return std::nullopt;  // a pipe would hang us
  std::ifstream in(file);
  std::string text;
  if (!std::getline(in, text)) return std::nullopt;
  long number = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), number);
  if (error != std::errc{} || end != text.data() + text.size()) return std::nullopt;
  return number;
}

/// So much warmer than modelled may a body be, for the air's sake.
constexpr double model_tolerance_k = 15.0;

safety::Reading coil_reading(const rig::RigFile& rig, double modelled_c) {
  if (rig.coil_sensor.empty()) return safety::Reading::good;  // the model alone, which is checked
  const auto millidegrees = number_in(rig.coil_sensor);
  if (!millidegrees) return safety::Reading::unknown;
  const double body_c = static_cast<double>(*millidegrees) / 1000.0;
  const bool cool = body_c <= rig.limits.max_coil_c - rig.limits.coil_margin_k &&
                    body_c <= modelled_c + model_tolerance_k;
  return cool ? safety::Reading::good : safety::Reading::bad;
}

safety::Reading supply_reading(const rig::RigFile& rig) {
  if (rig.supply_alarm.empty()) return safety::Reading::good;  // nothing senses it
  const auto alarm = number_in(rig.supply_alarm);
  if (!alarm) return safety::Reading::unknown;
  return *alarm == 0 ? safety::Reading::good : safety::Reading::bad;
}

}  // namespace

SlowSensors::SlowSensors(const rig::RigFile& rig, run::LiveRig& live,
                         std::function<double()> modelled_body_c)
    : rig_(rig), live_(live), modelled_body_c_(std::move(modelled_body_c)) {
  look();
  if (rig.coil_sensor.empty() && rig.supply_alarm.empty()) return;
  thread_ = std::thread([this] {
    while (!over_) {
      look();
      for (base::Duration left = between_looks; left > base::Duration{} && !over_;
           left -= look_up) {
        lines::kernel_nap(look_up);
      }
    }
  });
}

void SlowSensors::look() {
  live_.see(safety::Guard::coil_cool, coil_reading(rig_, modelled_body_c_()));
  live_.see(safety::Guard::supply, supply_reading(rig_));
}

SlowSensors::~SlowSensors() {
  over_ = true;
  if (thread_.joinable()) thread_.join();
}

}  // namespace plexor::app
