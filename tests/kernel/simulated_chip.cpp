#include "kernel/simulated_chip.hpp"

#include <fcntl.h>
#include <unistd.h>

#include <atomic>
#include <filesystem>
#include <stdexcept>

#include "kernel/small_file.hpp"

namespace plexor {

namespace {

std::string new_chip_folder() {
  static std::atomic<int> made = 0;
  return "/sys/kernel/config/gpio-sim/chip-" + std::to_string(getpid()) + "-" +
         std::to_string(++made);
}

/// Of the one chip of a platform device.
std::uint32_t first_number_of(const std::string& device) {
  const std::filesystem::directory_iterator chips(device + "/gpio");
  return static_cast<std::uint32_t>(std::stoul(read_word(chips->path().string() + "/base")));
}

}  // namespace

SimulatedChip::SimulatedChip() : config_(new_chip_folder()) {
  const std::string bank = config_ + "/bank0";
  std::filesystem::create_directories(bank);
  write_file(bank + "/num_lines", std::to_string(line_count));
  write_file(config_ + "/live", "1");
  const std::string chip = read_word(bank + "/chip_name");
  const std::string platform = "/sys/devices/platform/" + read_word(config_ + "/dev_name");
  control_ = platform + "/" + chip;
  device_ = "/dev/" + chip;
  first_number_ = first_number_of(platform);
}

SimulatedChip::~SimulatedChip() {
  write_file(config_ + "/live", "0");
  rmdir((config_ + "/bank0").c_str());
  rmdir(config_.c_str());
}

std::string SimulatedChip::line_file(std::uint32_t offset, const std::string& what) const {
  return control_ + "/sim_gpio" + std::to_string(offset) + "/" + what;
}

void SimulatedChip::pull(std::uint32_t offset, bool high) {
  write_file(line_file(offset, "pull"), high ? "pull-up" : "pull-down");
}

bool SimulatedChip::is_high(std::uint32_t offset) const {
  // A bench asks this all the time, on a slow machine: no streams.
  const std::string file = line_file(offset, "value");
  const int descriptor = open(file.c_str(), O_RDONLY | O_CLOEXEC);
  char level = '?';
  const bool good = read(descriptor, &level, 1) == 1;
  close(descriptor);
  if (!good) throw std::runtime_error("can't read " + file);
  return level == '1';
}

}  // namespace plexor
