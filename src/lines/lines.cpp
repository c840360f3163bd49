#include "lines/lines.hpp"

#include <ctime>

#include "lines/virtual_lines.hpp"

namespace plexor::lines {

KernelInstant kernel_now() {
  timespec now{};
  clock_gettime(CLOCK_MONOTONIC, &now);
  return KernelInstant{std::chrono::seconds{now.tv_sec} + base::Duration{now.tv_nsec}};
}

void kernel_nap(base::Duration length) {
  const timespec time{0, static_cast<long>(length.count())};
  nanosleep(&time, nullptr);
}

std::unique_ptr<Lines> request(const std::string& chip, const std::vector<LineSetting>& settings) {
  return request_virtual(chip, settings);
}

}  // namespace plexor::lines
