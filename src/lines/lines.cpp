#include "lines/lines.hpp"

#include <fmt/format.h>

#include <cerrno>
#include <ctime>
#include <filesystem>
#include <set>
#include <stdexcept>
#include <system_error>

#include "base/error.hpp"
#include "lines/gpiod_lines.hpp"
#include "lines/virtual_lines.hpp"

namespace plexor::lines {

namespace {

void require_each_once(const std::string& chip, const std::vector<LineSetting>& settings) {
  std::set<std::uint32_t> seen;
  for (const LineSetting& setting : settings) {
    if (seen.insert(setting.offset).second) continue;
    throw base::RigFault(
        fmt::format("line {} ({}) of {}: asked for twice", setting.offset, setting.name, chip));
  }
}

}  // namespace

KernelInstant kernel_now() {
  timespec now{};
  clock_gettime(CLOCK_MONOTONIC, &now);
  return KernelInstant{std::chrono::seconds{now.tv_sec} + base::Duration{now.tv_nsec}};
}

void kernel_nap(base::Duration length) {
  const timespec time{0, static_cast<long>(length.count())};
  nanosleep(&time, nullptr);
}

void kernel_sleep_until(KernelInstant at) {
  const auto since_boot = at.time_since_epoch();
  const auto whole = std::chrono::floor<std::chrono::seconds>(since_boot);
  const timespec time{whole.count(), static_cast<long>((since_boot - whole).count())};
  clock_nanosleep(CLOCK_MONOTONIC, TIMER_ABSTIME, &time, nullptr);
}

base::Duration suspended_so_far() {
  constexpr base::Duration quick = std::chrono::milliseconds{1};
  constexpr int most_tries = 5;
  base::Duration suspended{};
  for (int i = 0; i < most_tries; ++i) {
    timespec boot{};
    const KernelInstant before = kernel_now();
    clock_gettime(CLOCK_BOOTTIME, &boot);
    const KernelInstant after = kernel_now();
    suspended = std::chrono::seconds{boot.tv_sec} + base::Duration{boot.tv_nsec} -
                before.time_since_epoch();
    if (after - before < quick) break;  // else we were held up between the two
  }
  return suspended;
}

base::RigFault Lines::fault(std::size_t line, const std::string& reason) const {
  const LineSetting& setting = settings_.at(line);
  return base::RigFault(
      fmt::format("line {} ({}) of {}: {}", setting.offset, setting.name, chip_, reason));
}

const LineSetting* Lines::held(std::size_t line) const noexcept {
  if (!let_go_ && line < settings_.size()) return &settings_[line];
  errno = let_go_ ? EBADF : EINVAL;
  return nullptr;
}

const LineSetting* Lines::held_output(std::size_t line) const noexcept {
  const LineSetting* setting = held(line);
  if (setting == nullptr || setting->direction == Direction::output) return setting;
  errno = EPERM;
  return nullptr;
}

void Lines::require_held() const {
  if (let_go_) throw base::RigFault("lines of " + chip_ + " have been let go");
}

void Lines::set(std::size_t line, Level level) {
  if (settings_.at(line).direction != Direction::output) {
    throw std::logic_error("not an output: " + settings_[line].name);
  }
  if (!try_set(line, level)) throw fault(line, base::last_reason());
}

Level Lines::get(std::size_t line) {
  const auto level = try_get(line);
  if (!level) throw fault(line, base::last_reason());
  return *level;
}

std::unique_ptr<Lines> request(const std::string& chip, const std::vector<LineSetting>& settings) {
  if (settings.empty()) throw std::logic_error("no lines asked for of " + chip);
  require_each_once(chip, settings);
  std::error_code unknown;  // who can't be looked at is refused with its reason below
  const bool is_device = std::filesystem::is_character_file(chip, unknown);
  return is_device ? request_gpiod(chip, settings) : request_virtual(chip, settings);
}

}  // namespace plexor::lines
