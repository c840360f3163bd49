#include "kernel/line_trace.hpp"

#include <unistd.h>

#include <atomic>
#include <filesystem>
#include <optional>
#include <sstream>
#include <stdexcept>

#include "kernel/small_file.hpp"

namespace plexor {

namespace {

std::string new_folder() {
  static std::atomic<int> made = 0;
  return "/sys/kernel/tracing/instances/lines-" + std::to_string(getpid()) + "-" +
         std::to_string(++made);
}

lines::KernelInstant instant_of(const std::string& seconds) {
  const std::size_t point = seconds.find('.');
  return lines::KernelInstant{std::chrono::seconds{std::stoll(seconds)} +
                              std::chrono::microseconds{std::stoll(seconds.substr(point + 1))}};
}

/// "     program-123     [000] ..... 12.345678: gpio_value: 1016 set 1". The program's name may
/// hold anything, so the numbers are looked for from the right.
std::optional<Driven> driven_in_line(const std::string& line) {
  const std::size_t event = line.find(": gpio_value: ");
  const std::size_t processor = line.rfind(" [", event);
  if (event == std::string::npos || processor == std::string::npos) return std::nullopt;
  std::istringstream rest(line.substr(event + std::string_view(": gpio_value: ").size()));
  Driven driven;
  std::string what;
  rest >> driven.number >> what >> driven.high;
  if (!rest || what != "set") return std::nullopt;
  driven.process = std::stoi(line.substr(line.rfind('-', processor) + 1));
  driven.at = instant_of(line.substr(line.rfind(' ', event) + 1));
  return driven;
}

}  // namespace

std::vector<Driven> driven_in(std::string_view trace) {
  std::istringstream text{std::string(trace)};
  std::vector<Driven> all;
  for (std::string line; std::getline(text, line);) {
    if (const auto driven = driven_in_line(line)) all.push_back(*driven);
  }
  return all;
}

LineTrace::LineTrace() : folder_(new_folder()) {
  std::filesystem::create_directory(folder_);
  write_file(folder_ + "/trace_clock", "mono");
  write_file(folder_ + "/events/gpio/gpio_value/filter", "get == 0");
  write_file(folder_ + "/events/gpio/gpio_value/enable", "1");
}

LineTrace::~LineTrace() { rmdir(folder_.c_str()); }

std::vector<Driven> LineTrace::driven() const {
  const std::string text = read_file(folder_ + "/trace");
  if (text.find("LOST") != std::string::npos) throw std::runtime_error("the trace has a gap");
  return driven_in(text);
}

}  // namespace plexor
