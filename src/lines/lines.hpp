#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "base/error.hpp"
#include "base/time.hpp"

namespace plexor::lines {

/// The host's CLOCK_MONOTONIC, in which the kernel stamps edges.
struct KernelClock {
  using duration = base::Duration;
  using rep = duration::rep;
  using period = duration::period;
  using time_point = std::chrono::time_point<KernelClock, base::Duration>;
  static constexpr bool is_steady = true;
};
using KernelInstant = KernelClock::time_point;
[[nodiscard]] KernelInstant kernel_now();
/// Sleeps for at least this long, less than a second, unless a signal ends it.
void kernel_nap(base::Duration length);
/// Sleeps until then, unless a signal ends it.
void kernel_sleep_until(KernelInstant at);
/// How long the host has been suspended since it started: CLOCK_BOOTTIME less CLOCK_MONOTONIC.
[[nodiscard]] base::Duration suspended_so_far();

/// Logical levels: the polarity of a line is settled in its setting and nowhere else.
enum class Level : std::uint8_t { inactive, active };

enum class Direction : std::uint8_t { input, output };

/// One line as it is asked for.
struct LineSetting {
  std::string name;          ///< for people: "stop loop"
  std::uint32_t offset = 0;  ///< on its chip
  Direction direction = Direction::input;
  bool active_low = false;
  bool edges = false;                  ///< inputs: both edges are reported
  Level at_start = Level::inactive;    ///< outputs: driven so from the first instant
  Level at_release = Level::inactive;  ///< outputs: driven so before the line is let go
};

/// A change of an input.
struct Edge {
  std::size_t line = 0;  ///< index among the settings asked for
  Level level{};         ///< since then
  KernelInstant at;      ///< stamped where it happened, not where it was read
  std::uint64_t sequence =
      0;  ///< counts this request's edges from 1; a jump means that some were lost
};

/// Lines of one chip, held by this process alone: a line has one owner. After
/// the owner has died its lines are undefined. Not for use by several threads at once.
class Lines {
 public:
  Lines(const Lines&) = delete;
  Lines& operator=(const Lines&) = delete;
  /// Adapters release in their own destructor.
  virtual ~Lines() = default;

  /// Drives an output. Throws base::RigFault naming chip, line and reason; asking
  /// that of an input is our own bug: std::logic_error.
  void set(std::size_t line, Level level);
  /// Reads a line; for an output, what is really driven. Throws base::RigFault likewise.
  [[nodiscard]] Level get(std::size_t line);

  /// The same without exceptions and without allocation: false, or nothing,
  /// where it failed (errno says why).
  [[nodiscard]] virtual bool try_set(std::size_t line, Level level) noexcept = 0;
  [[nodiscard]] virtual std::optional<Level> try_get(std::size_t line) noexcept = 0;

  /// The next edge of an input that reports them, in their order; nothing after
  /// `timeout`. Throws base::RigFault.
  [[nodiscard]] virtual std::optional<Edge> wait_edge(base::Duration timeout) = 0;
  /// Drives outputs as their settings say and lets all lines go. Afterwards
  /// every other call fails. Does nothing the second time.
  virtual void release() noexcept = 0;

 protected:
  Lines(std::string chip, std::vector<LineSetting> settings)
      : chip_(std::move(chip)), settings_(std::move(settings)) {}

  // For adapters.

  [[nodiscard]] const std::string& chip_file() const { return chip_; }
  [[nodiscard]] const std::vector<LineSetting>& settings() const { return settings_; }
  /// "line 3 (enable) of CHIP: REASON".
  [[nodiscard]] base::RigFault fault(std::size_t line, const std::string& reason) const;

  /// A line that may be read, or an output that may be driven; otherwise nothing, and errno says
  /// why.
  [[nodiscard]] const LineSetting* held(std::size_t line) const noexcept;
  [[nodiscard]] const LineSetting* held_output(std::size_t line) const noexcept;
  /// Throws base::RigFault once the lines have been let go.
  void require_held() const;
  /// Nothing is held from now on. True for who says so first.
  [[nodiscard]] bool end_holding() noexcept { return !std::exchange(let_go_, true); }

 private:
  std::string chip_;
  std::vector<LineSetting> settings_;
  bool let_go_ = false;
};

/// Takes lines of a chip: of the kernel's (/dev/gpiochip0), or of a virtual
/// chip's file (see virtual_chip.hpp). Throws base::RigFault if there is no such
/// chip or line, somebody holds one of them, or one is asked for twice; then
/// none is taken and none driven. To ask for no line is our own bug: std::logic_error.
[[nodiscard]] std::unique_ptr<Lines> request(const std::string& chip,
                                             const std::vector<LineSetting>& settings);

}  // namespace plexor::lines
