#include "lines/virtual_chip.hpp"

#include <fmt/format.h>
#include <linux/futex.h>
#include <poll.h>
#include <sys/syscall.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <limits>
#include <new>
#include <utility>

#include "base/error.hpp"
#include "lines/shared_memory.hpp"

namespace plexor::lines {

namespace {

constexpr std::uint64_t mark = 0x706c65786f723101;  // changes with the layout
constexpr std::size_t kept_changes = 4096;

[[noreturn]] void fail(const std::string& file, const std::string& reason) {
  throw base::RigFault(fmt::format("virtual chip {}: {}", file, reason));
}

/// A process that has ended holds nothing any more, buried or not.
bool is_alive(int process) {
  const auto descriptor = static_cast<int>(syscall(SYS_pidfd_open, process, 0));
  if (descriptor < 0) return false;
  pollfd ended{descriptor, POLLIN, 0};
  const bool alive = poll(&ended, 1, 0) == 0;
  close(descriptor);
  return alive;
}

}  // namespace

/// Everything in it works between processes: lock-free atomics, and a futex to wait on.
struct VirtualChip::Segment {
  struct Line {
    std::atomic<std::int32_t> owner{0};  ///< process id, 0 for none
    std::atomic<bool> is_output{false};
    std::atomic<bool> high{false};
  };
  struct Kept {
    std::atomic<std::uint64_t> number{0};  ///< 0 while it is being written
    std::atomic<std::uint32_t> offset{0};
    std::atomic<bool> high{false};
    std::atomic<std::int64_t> at_ns{0};
  };
  std::atomic<std::uint64_t> mark{0};
  std::atomic<std::uint64_t> newest{0};
  std::atomic<std::uint32_t> bell{0};  ///< counts changes, for the futex
  std::array<Line, line_count> lines;
  std::array<Kept, kept_changes> changes;
};

static_assert(std::atomic<std::uint64_t>::is_always_lock_free);

VirtualChip::VirtualChip(std::string file, std::shared_ptr<Segment> segment)
    : file_(std::move(file)), segment_(std::move(segment)) {}

VirtualChip VirtualChip::create(const std::string& file) {
  auto memory = create_shared_memory(file, sizeof(Segment));
  auto segment = std::shared_ptr<Segment>(memory, new (memory.get()) Segment);
  segment->mark.store(mark, std::memory_order_release);
  return {file, std::move(segment)};
}

VirtualChip VirtualChip::open(const std::string& file) {
  auto segment = std::static_pointer_cast<Segment>(open_shared_memory(file, sizeof(Segment)));
  if (segment->mark.load(std::memory_order_acquire) != mark) fail(file, "not a virtual chip");
  return {file, std::move(segment)};
}

void VirtualChip::record(std::uint32_t offset, bool high, KernelInstant at) {
  const std::uint64_t number = segment_->newest.fetch_add(1) + 1;
  Segment::Kept& kept = segment_->changes[number % kept_changes];
  kept.number.store(0, std::memory_order_release);
  kept.offset.store(offset, std::memory_order_release);
  kept.high.store(high, std::memory_order_release);
  kept.at_ns.store(at.time_since_epoch().count(), std::memory_order_release);
  kept.number.store(number, std::memory_order_release);
  segment_->bell.fetch_add(1);
  syscall(SYS_futex, &segment_->bell, FUTEX_WAKE, std::numeric_limits<int>::max(), nullptr, nullptr,
          0);
}

void VirtualChip::set_high(std::uint32_t offset, bool high) {
  if (segment_->lines.at(offset).high.exchange(high) != high) record(offset, high, kernel_now());
}

void VirtualChip::drive(std::uint32_t offset, bool high) { drive(offset, high, kernel_now()); }

void VirtualChip::drive(std::uint32_t offset, bool high, KernelInstant at) {
  if (is_driven_by_owner(offset)) fail(file_, fmt::format("line {} is an output", offset));
  if (segment_->lines.at(offset).high.exchange(high) != high) record(offset, high, at);
}

bool VirtualChip::is_high(std::uint32_t offset) const {
  return segment_->lines.at(offset).high.load();
}

bool VirtualChip::is_driven_by_owner(std::uint32_t offset) const {
  const Segment::Line& line = segment_->lines.at(offset);
  return line.owner.load() != 0 && line.is_output.load();
}

void VirtualChip::require_line(std::uint32_t offset) const {
  if (offset < line_count) return;
  fail(file_, fmt::format("no line {} (0 to {})", offset, line_count - 1));
}

std::optional<int> VirtualChip::take(std::uint32_t offset, Direction direction) {
  Segment::Line& line = segment_->lines.at(offset);
  std::int32_t holder = 0;
  while (!line.owner.compare_exchange_strong(holder, getpid())) {
    if (is_alive(holder)) return holder;
    // The holder is gone: the next exchange replaces him, unless somebody else was quicker.
  }
  line.is_output.store(direction == Direction::output);
  return std::nullopt;
}

void VirtualChip::let_go(std::uint32_t offset) {
  Segment::Line& line = segment_->lines.at(offset);
  line.is_output.store(false);
  line.owner.store(0);
}

std::uint64_t VirtualChip::newest_change() const { return segment_->newest.load(); }

/// Nothing if it has been overwritten, or is not written yet.
std::optional<Change> VirtualChip::kept_change(std::uint64_t number) const {
  const Segment::Kept& kept = segment_->changes[number % kept_changes];
  if (kept.number.load(std::memory_order_acquire) != number) return std::nullopt;
  const Change change{
      kept.offset.load(std::memory_order_acquire), kept.high.load(std::memory_order_acquire),
      KernelInstant{base::Duration{kept.at_ns.load(std::memory_order_acquire)}}, number};
  if (kept.number.load(std::memory_order_acquire) != number) return std::nullopt;
  return change;
}

/// A writer that is held up, or died, in the middle leaves a hole. What was written behind it is
/// handed out once it has waited for the hole long enough.
std::optional<Change> VirtualChip::oldest_after(std::uint64_t after) const {
  constexpr base::Duration patience = std::chrono::milliseconds{100};
  const std::uint64_t newest = newest_change();
  const std::uint64_t oldest = newest > kept_changes ? newest - kept_changes + 1 : 1;
  const std::uint64_t wanted = std::max(after + 1, oldest);
  for (std::uint64_t number = wanted; number <= newest; ++number) {
    const auto change = kept_change(number);
    if (!change) continue;
    const bool has_waited = kernel_now() - change->at > patience;
    return number == wanted || has_waited ? change : std::nullopt;
  }
  return std::nullopt;
}

std::optional<Change> VirtualChip::next_change(std::uint64_t after, KernelInstant deadline) const {
  constexpr base::Duration longest_nap = std::chrono::milliseconds{10};
  for (;;) {
    const std::uint32_t bell = segment_->bell.load();
    if (auto change = oldest_after(after)) return change;
    const base::Duration left = deadline - kernel_now();
    if (left <= base::Duration::zero()) return std::nullopt;
    const timespec nap{0, static_cast<long>(std::min(left, longest_nap).count())};
    syscall(SYS_futex, &segment_->bell, FUTEX_WAIT, bell, &nap, nullptr, 0);
  }
}

}  // namespace plexor::lines
