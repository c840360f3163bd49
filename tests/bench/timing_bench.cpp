// What tests/bench/timing asks for: one measurement, printed as JSON.
//   timing_bench pulses SECONDS   how far from their instants the pulse thread's edges are
//   timing_bench stamps EVENTS    a listener's stamp against the writer's; a socketpair's round
//   trip timing_bench lines LINES      lines per second through a listener; the same pty merely
//   read timing_bench waiting SECONDS  the share of a core that a pulse thread and a listener use
//   for nothing

#include <fcntl.h>
#include <fmt/format.h>
#include <pty.h>
#include <sched.h>
#include <sys/ioctl.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <termios.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <atomic>
#include <cmath>
#include <functional>
#include <string>
#include <thread>
#include <vector>

#include "conductor/fake_warden.hpp"
#include "rig/serial_listener.hpp"
#include "run/pulse_thread.hpp"

namespace plexor {
namespace {

using namespace std::chrono_literals;
using lines::KernelInstant;
using lines::Level;

/// The listener that is measured, with a pattern as a device needs it.
class Listener {
 public:
  using Heard = std::function<void(KernelInstant at)>;
  Listener(const std::string& port, Heard heard)
      : listener_(
            "bench",
            {.port = port,
             .format = {.pattern = "event=(?P<event>\\w+) t=(?P<device_time_ms>\\d+) "
                                   "strength=(?P<strength>[0-9.]+)"}},
            {},
            {.report = [heard = std::move(heard)](const rig::Report& report) { heard(report.at); },
             .state = [](bool, KernelInstant) {}}) {}

 private:
  rig::SerialListener listener_;
};

double us(base::Duration duration) { return static_cast<double>(duration.count()) / 1e3; }

/// Rearranges.
base::Duration quantile(std::vector<base::Duration>& all, double part) {
  const auto rank = static_cast<std::size_t>(std::ceil(part * static_cast<double>(all.size())));
  const auto at = all.begin() + static_cast<std::ptrdiff_t>(std::max<std::size_t>(rank, 1) - 1);
  std::nth_element(all.begin(), at, all.end());
  return *at;
}

[[noreturn]] void fail(const std::string& reason) {
  throw base::RigFault("timing_bench: " + reason);
}

// Pulses.

/// Keeps when it was driven, as late as it can tell.
class StampingGate final : public lines::Lines {
 public:
  StampingGate(std::vector<KernelInstant>& on, std::vector<KernelInstant>& off)
      : Lines("gate of the bench", {}), on_(on), off_(off) {}
  bool try_set(std::size_t /*line*/, Level level) noexcept override {
    if (level == Level::active) {
      on_.push_back(lines::kernel_now());
    } else if (level_ == Level::active) {
      off_.push_back(lines::kernel_now());
    }
    level_ = level;
    return true;
  }
  std::optional<Level> try_get(std::size_t /*line*/) noexcept override { return level_; }
  std::optional<lines::Edge> wait_edge(base::Duration /*timeout*/) override { return {}; }
  void release() noexcept override {}

 private:
  std::vector<KernelInstant>& on_;
  std::vector<KernelInstant>& off_;
  Level level_ = Level::inactive;
};

constexpr base::Duration pulse_every = 4ms;
constexpr base::Duration pulse_length = 1ms;

safety::Limits quick_limits() {
  safety::Limits limits;
  limits.max_pulse = pulse_length;
  limits.min_rest = 1ms;
  return limits;
}

/// A pulse thread that may tap, beside a warden that is content.
class PulseBench {
 public:
  explicit PulseBench(std::size_t pulses) : board_(safety::Board::create(board_file())) {
    unlink(board_file().c_str());
    for (auto* edges : {&on, &off}) edges->reserve(pulses + 1);
    taps.reserve(pulses + 1);
    for (const auto guard :
         {safety::Guard::coil_cool, safety::Guard::journal, safety::Guard::supply}) {
      overseer.see(guard, safety::Reading::good);
    }
    overseer.see_listeners(true);
    thread = std::make_unique<run::PulseThread>(
        std::make_unique<StampingGate>(on, off), quick_limits(), overseer, clock,
        [this](const rig::PulseFired& fired) { taps.push_back(fired.tap); });
    warden_thread_ = std::thread([this] {
      while (!over_) {
        warden_.tick(lines::kernel_now());
        lines::kernel_nap(2ms);
      }
    });
  }
  ~PulseBench() {
    thread.reset();
    over_ = true;
    warden_thread_.join();
  }
  PulseBench(const PulseBench&) = delete;
  PulseBench& operator=(const PulseBench&) = delete;

  void arm() {
    overseer.want_power(true);
    for (int i = 0; i < 1000; ++i) {
      lines::kernel_nap(10ms);
      if (overseer.warden().powered && overseer.arm({})) return;
    }
    fail("could not be armed: " + overseer.what_stands());
  }
  void give(const std::vector<base::Pulse>& trial) {
    const auto epoch = overseer.begin_trial();
    if (!epoch) fail("no leave: " + overseer.what_stands());
    thread->queue(trial, *epoch);
    while (overseer.state() == safety::InterlockState::tapping) lines::kernel_nap(10ms);
  }

 private:
  static std::string board_file() {
    return "/dev/shm/plexor-timing-bench-" + std::to_string(getpid());
  }
  safety::Board board_;
  run::FakeWarden warden_{board_};
  std::atomic<bool> over_ = false;

 public:
  std::vector<KernelInstant> on;
  std::vector<KernelInstant> off;
  std::vector<std::uint32_t> taps;  ///< that were given
  run::LiveClock clock;
  run::Overseer overseer{
      {.interlock = {.contact_counts = false}, .warden_age = 1h, .conductor_age = 1h},
      board_,
      clock,
      [](const rig::LeaveEnded&) {}};
  std::unique_ptr<run::PulseThread> thread;

 private:
  std::thread warden_thread_;
};

void print_errors(std::string_view edge, std::vector<base::Duration> errors) {
  const auto within = std::ranges::count_if(errors, [](auto error) { return error <= 2us; });
  fmt::print(R"("{}": {{"n": {}, "p50_us": {:.2f}, "p99_us": {:.2f}, "p999_us": {:.2f}, )", edge,
             errors.size(), us(quantile(errors, 0.5)), us(quantile(errors, 0.99)),
             us(quantile(errors, 0.999)));
  fmt::print(R"("max_us": {:.2f}, "within_2us": {:.4f}}}, )", us(quantile(errors, 1.0)),
             static_cast<double>(within) / static_cast<double>(errors.size()));
}

/// How late each edge of a trial was. What was due before the pulse before it had ended, and
/// rested, is an overrun and not counted again, as in cyclictest: on a rig pulses are further
/// apart.
struct Errors {
  std::vector<base::Duration> on;
  std::vector<base::Duration> off;  ///< against the pulse's actual begin
  std::size_t overruns = 0;

  void add(const PulseBench& bench, const std::vector<base::Pulse>& trial, std::size_t given) {
    KernelInstant free_at;
    for (std::uint32_t tap = 0; tap < trial.size(); ++tap) {
      const KernelInstant planned = bench.clock.kernel(trial[tap].on);
      const bool is_overrun = planned < free_at;
      overruns += is_overrun ? 1 : 0;
      if (given == bench.taps.size() || bench.taps[given] != tap) continue;
      free_at = bench.off[given] + quick_limits().min_rest;
      if (!is_overrun) {
        on.push_back(bench.on[given] - planned);
        off.push_back(bench.off[given] - bench.on[given] - trial[tap].on_time);
      }
      ++given;
    }
  }
};

void measure_pulses(int seconds) {
  constexpr std::size_t in_a_trial = 250;
  const auto trials = static_cast<std::size_t>(seconds);
  PulseBench bench(trials * in_a_trial);
  bench.arm();
  Errors errors;
  for (std::size_t i = 0; i < trials; ++i) {
    std::vector<base::Pulse> trial;
    base::Instant next = bench.clock.now() + 20ms;
    for (std::size_t tap = 0; tap < in_a_trial; ++tap, next += pulse_every) {
      trial.push_back({next, pulse_length});
    }
    const std::size_t first = bench.on.size();
    bench.give(trial);
    errors.add(bench, trial, first);
  }
  fmt::print("{{");
  print_errors("on", errors.on);
  print_errors("off", errors.off);
  fmt::print(R"("overruns": {}, "scheduling": "{}"}})"
             "\n",
             errors.overruns, run::in_one_line(bench.thread->scheduling()));
}

// Terminals.

/// A pseudo-terminal whose one end is written, as a device would.
class Terminal {
 public:
  Terminal() {
    std::array<char, 128> name{};
    if (openpty(&device_, &port_, name.data(), nullptr, nullptr) != 0) fail("no pseudo-terminal");
    termios raw{};
    tcgetattr(port_, &raw);
    cfmakeraw(&raw);
    tcsetattr(port_, TCSANOW, &raw);
    port_name = name.data();
  }
  ~Terminal() {
    close(device_);
    close(port_);
  }
  Terminal(const Terminal&) = delete;
  Terminal& operator=(const Terminal&) = delete;

  void write_line(std::string_view line) const {
    while (!line.empty()) {
      const ssize_t written = write(device_, line.data(), line.size());
      if (written < 0) fail("the pseudo-terminal can't be written");
      line.remove_prefix(static_cast<std::size_t>(written));
    }
  }
  [[nodiscard]] std::size_t read_some(std::span<char> buffer) const {
    return static_cast<std::size_t>(
        std::max<ssize_t>(read(port_, buffer.data(), buffer.size()), 0));
  }

  [[nodiscard]] int unread() const {
    int bytes = 0;
    ioctl(port_, FIONREAD, &bytes);
    return bytes;
  }

  std::string port_name;

 private:
  int device_ = -1;
  int port_ = -1;
};

constexpr std::string_view line_of_a_device = "event=call t=123456 strength=0.93\n";

/// Each event is written when the one before has been heard.
base::Duration stamp_p50(std::size_t events) {
  const Terminal terminal;
  std::atomic<std::int64_t> stamp_ns = 0;
  const Listener listener(terminal.port_name, [&](KernelInstant at) {
    stamp_ns = at.time_since_epoch().count();
    stamp_ns.notify_one();
  });
  std::vector<base::Duration> delays;
  for (std::size_t i = 0; i < events; ++i) {
    stamp_ns = 0;
    const KernelInstant written = lines::kernel_now();
    terminal.write_line(line_of_a_device);
    stamp_ns.wait(0);
    delays.push_back(KernelInstant{base::Duration{stamp_ns.load()}} - written);
  }
  return quantile(delays, 0.5);
}

base::Duration round_trip_p50(std::size_t rounds) {
  std::array<int, 2> ends{};
  if (socketpair(AF_UNIX, SOCK_STREAM, 0, ends.data()) != 0) fail("no socketpair");
  std::thread echo([far = ends[1]] {
    char byte = 0;
    while (read(far, &byte, 1) == 1 && write(far, &byte, 1) == 1) {
    }
  });
  std::vector<base::Duration> trips;
  char byte = 'k';
  for (std::size_t i = 0; i < rounds; ++i) {
    const KernelInstant begin = lines::kernel_now();
    if (write(ends[0], &byte, 1) != 1 || read(ends[0], &byte, 1) != 1) fail("socketpair");
    trips.push_back(lines::kernel_now() - begin);
  }
  close(ends[0]);
  echo.join();
  close(ends[1]);
  return quantile(trips, 0.5);
}

void measure_stamps(int events) {
  // More at once the listener holds back.
  const auto count = std::min(static_cast<std::size_t>(events), std::size_t{180});
  const double stamp = us(stamp_p50(count));
  const double trip = us(round_trip_p50(count));
  fmt::print(R"({{"stamp_p50_us": {:.2f}, "round_trip_p50_us": {:.2f}}})"
             "\n",
             stamp, trip);
}

void run_on(std::size_t core) {
  cpu_set_t alone;
  CPU_ZERO(&alone);
  CPU_SET(core, &alone);
  sched_setaffinity(0, sizeof alone, &alone);
}

/// `take_all` returns when the port has had all that is written. Reader and writer on a core each.
double lines_per_s(const Terminal& terminal, int lines,
                   const std::function<void(const std::atomic<bool>& written)>& take_all) {
  std::atomic<bool> written = false;
  const KernelInstant begin = lines::kernel_now();
  std::thread device([&] {
    run_on(0);
    for (int i = 0; i < lines; ++i) terminal.write_line(line_of_a_device);
    written = true;
  });
  take_all(written);
  const base::Duration took = lines::kernel_now() - begin;
  device.join();
  return lines / (us(took) / 1e6);
}

double parsed_per_s(int lines) {
  const Terminal terminal;
  const Listener listener(terminal.port_name, [](KernelInstant) {});
  // Most reports are held back as too many, so what counts is that all lines were taken in.
  return lines_per_s(terminal, lines, [&](const std::atomic<bool>& written) {
    while (!written || terminal.unread() > 0) lines::kernel_nap(1ms);
  });
}

double read_per_s(int lines) {
  const Terminal terminal;
  return lines_per_s(terminal, lines, [&](const std::atomic<bool>&) {
    std::array<char, 4096> buffer{};
    const std::size_t all = static_cast<std::size_t>(lines) * line_of_a_device.size();
    for (std::size_t bytes = 0; bytes < all;) bytes += terminal.read_some(buffer);
  });
}

void measure_lines(int lines) {
  run_on(std::max(std::thread::hardware_concurrency(), 1U) - 1);  // the listener's thread follows
  const double parsed = parsed_per_s(lines);
  const double merely_read = read_per_s(lines);
  fmt::print(R"({{"parsed_per_s": {:.0f}, "read_per_s": {:.0f}}})"
             "\n",
             parsed, merely_read);
}

// Waiting.

base::Duration core_time() {
  rusage used{};
  getrusage(RUSAGE_SELF, &used);
  const auto of = [](const timeval& time) {
    return std::chrono::seconds{time.tv_sec} + std::chrono::microseconds{time.tv_usec};
  };
  return of(used.ru_utime) + of(used.ru_stime);
}

void measure_waiting(int seconds) {
  const Terminal terminal;
  const Listener listener(terminal.port_name, [](KernelInstant) {});
  const auto board_file = "/dev/shm/plexor-timing-bench-" + std::to_string(getpid());
  const safety::Board board = safety::Board::create(board_file);
  unlink(board_file.c_str());
  const run::LiveClock clock;
  run::Overseer overseer({}, board, clock, [](const rig::LeaveEnded&) {});
  std::vector<KernelInstant> none;
  const run::PulseThread thread(std::make_unique<StampingGate>(none, none), quick_limits(),
                                overseer, clock, [](const rig::PulseFired&) {});
  lines::kernel_nap(100ms);
  const base::Duration before = core_time();
  std::this_thread::sleep_for(std::chrono::seconds{seconds});
  fmt::print(R"({{"share": {:.5f}}})"
             "\n",
             us(core_time() - before) / (seconds * 1e6));
}

int bench_main(int argc, char** argv) {
  const std::string what = argc == 3 ? argv[1] : "";
  const int how_many = argc == 3 ? std::atoi(argv[2]) : 0;
  if (how_many > 0) {
    if (what == "pulses") return measure_pulses(how_many), 0;
    if (what == "stamps") return measure_stamps(how_many), 0;
    if (what == "lines") return measure_lines(how_many), 0;
    if (what == "waiting") return measure_waiting(how_many), 0;
  }
  fmt::print(stderr, "usage: timing_bench pulses|stamps|lines|waiting HOW_MANY\n");
  return 2;
}

}  // namespace
}  // namespace plexor

int main(int argc, char** argv) {
  try {
    return plexor::bench_main(argc, argv);
  } catch (const std::exception& error) {
    fmt::print(stderr, "{}\n", error.what());
    return 1;
  }
}
