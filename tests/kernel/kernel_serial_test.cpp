#include <fcntl.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <termios.h>
#include <unistd.h>

#include <atomic>
#include <functional>
#include <memory>
#include <mutex>
#include <sstream>
#include <string>
#include <thread>
#include <utility>
#include <vector>

#include "kernel/serial_end.hpp"
#include "kernel/small_file.hpp"
#include "rig/serial_listener.hpp"
#include "rig/serial_port.hpp"
#include "warden/child.hpp"

// Devices on serial ports of a kernel (an emulated 16550), which libserialport opens. In the guest.

namespace plexor::rig {
namespace {

using namespace std::chrono_literals;
using lines::KernelInstant;
using testing::ElementsAre;
using testing::HasSubstr;

const std::string near_port = "/dev/ttyS1";
const std::string far_port = "/dev/ttyS2";

bool comes_true(const std::function<bool()>& what) {
  const KernelInstant give_up = lines::kernel_now() + 20s;
  while (!what()) {
    if (lines::kernel_now() > give_up) return false;
    lines::kernel_nap(2ms);
  }
  return true;
}

/// As the driver of the port has its lines, whoever sets them.
bool driver_shows(const std::string& line) {
  std::istringstream ports(read_file("/proc/tty/driver/serial"));
  for (std::string port; std::getline(ports, port);) {
    if (port.starts_with("1:")) return port.find(line) != std::string::npos;
  }
  return false;
}

/// The changes of a line of the near port, from its making on.
class LineWatch {
 public:
  explicit LineWatch(std::string line) : line_(std::move(line)), thread_([this] { watch(); }) {}
  ~LineWatch() { end(); }
  LineWatch(const LineWatch&) = delete;
  LineWatch& operator=(const LineWatch&) = delete;

  std::vector<bool> end() {
    over_ = true;
    if (thread_.joinable()) thread_.join();
    return levels_;
  }

 private:
  void watch() {
    while (!over_) {
      const bool level = driver_shows(line_);
      if (levels_.empty() || levels_.back() != level) levels_.push_back(level);
      lines::kernel_nap(5ms);
    }
  }

  std::string line_;
  std::vector<bool> levels_;
  std::atomic<bool> over_ = false;
  std::thread thread_;
};

TEST(KernelSerial, IsSetAsTheRigFileSays) {
  const SerialPort port({.port = near_port,
                         .baud = 19'200,
                         .data_bits = 7,
                         .parity = Parity::odd,
                         .stop_bits = 2,
                         .flow = FlowControl::rts_cts});
  const termios settings = settings_of(near_port);
  EXPECT_EQ(cfgetispeed(&settings), speed_t{B19200});
  EXPECT_EQ(cfgetospeed(&settings), speed_t{B19200});
  EXPECT_EQ(settings.c_cflag & CSIZE, tcflag_t{CS7});
  EXPECT_EQ(settings.c_cflag & (PARENB | PARODD), tcflag_t{PARENB | PARODD});
  EXPECT_TRUE(settings.c_cflag & CSTOPB);
  EXPECT_TRUE(settings.c_cflag & CRTSCTS);
  EXPECT_FALSE(settings.c_lflag & (ICANON | ECHO));
}

TEST(KernelSerial, ItsLinesResetTheDevice) {
  for (const auto& [reset, line] :
       {std::pair{ResetLine::dtr, "DTR"}, std::pair{ResetLine::rts, "RTS"}}) {
    SerialPort port({.port = near_port});
    ASSERT_TRUE(comes_true([line = line] { return driver_shows(line); })) << line;
    LineWatch watch(line);
    lines::kernel_nap(50ms);
    port.reset(reset);
    lines::kernel_nap(50ms);
    EXPECT_THAT(watch.end(), ElementsAre(true, false, true)) << line;
  }
}

TEST(KernelSerial, WhatADeviceSaysIsHeardInOrderAndWhenItCame) {
  constexpr std::size_t count = 200;
  SerialEnd device(far_port, [](std::string_view) {});
  std::mutex mutex;
  std::vector<Report> reports;
  const SerialListener listener(
      "panel", {.port = near_port, .format = {.pattern = R"(^(?P<event>call \d+)$)"}}, {},
      {.report =
           [&](const Report& report) {
             const std::scoped_lock lock(mutex);
             reports.push_back(report);
           },
       .state = [](bool, KernelInstant) {}});
  const KernelInstant begin = lines::kernel_now();
  for (std::size_t i = 0; i < count; ++i) {
    device.say("call " + std::to_string(i));
    if (i % 10 == 0) lines::kernel_nap(2ms);
  }
  EXPECT_TRUE(comes_true([&] {
    const std::scoped_lock lock(mutex);
    return reports.size() >= count;
  }));
  const KernelInstant end = lines::kernel_now();
  ASSERT_EQ(reports.size(), count);
  for (std::size_t i = 0; i < count; ++i) {
    EXPECT_EQ(reports[i].event, "call " + std::to_string(i));
    EXPECT_GE(reports[i].at, i == 0 ? begin : reports[i - 1].at);
    EXPECT_LE(reports[i].at, end);
  }
}

TEST(KernelSerial, APortThatAnotherProgramReadsIsRefusedByItsName) {
  const auto reader = std::make_unique<Child>([] {
    const int descriptor = open(near_port.c_str(), O_RDONLY | O_NOCTTY | O_NONBLOCK);
    (void)descriptor;
    pause();
  });
  std::string said;
  EXPECT_TRUE(comes_true([&] { return !holders_of(near_port).empty(); }));
  try {
    const SerialPort port({.port = near_port});
  } catch (const PortFault& fault) {
    said = fault.what();
  }
  EXPECT_THAT(said, HasSubstr("busy"));
  EXPECT_THAT(said, HasSubstr(std::to_string(reader->process())));
}

}  // namespace
}  // namespace plexor::rig
