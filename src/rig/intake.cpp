#include "rig/intake.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "rig/line_text.hpp"

namespace plexor::rig {

using lines::KernelInstant;

Intake::Intake(std::string device, const ReportFormat& format, Hearers hearers,
               const std::optional<IdentitySettings>& identity)
    : device_(std::move(device)),
      hearers_(std::move(hearers)),
      sorter_(device_, format, identity) {}

Intake::~Intake() {
  if (reports_.held_back() == 0) return;
  remark(fmt::format("{} reports beyond {} a second were dropped", reports_.held_back(),
                     RateCap::per_second));
}

LineSorter::Sorted Intake::sort(std::string_view message, KernelInstant arrived,
                                Encoding encoding) {
  if (hearers_.line && lines_.lets_pass(arrived)) hearers_.line(printable(message), arrived);
  LineSorter::Sorted sorted = sorter_.sort(message, encoding);
  if (sorter_.has_matched_nothing()) remark_unmatched(printable(message));
  return sorted;
}

Intake::Taken Intake::tell(LineReading reading, KernelInstant arrived) {
  if (is_told(reading.id, arrived)) {
    if (!std::exchange(repeat_told_, true)) {
      remark(fmt::format("sends the id \"{}\" again; each id counts once in a minute",
                         cut(printable(reading.id), 40)));
    }
    return Taken::repeated;
  }
  if (!reports_.lets_pass(arrived)) {
    if (reports_.held_back() == 1) {
      remark(fmt::format("sends more than {} reports a second; what is beyond is dropped",
                         RateCap::per_second));
    }
    return Taken::dropped;
  }
  keep_as_told(reading.id, arrived);
  last_arrival_ = in_order(arrived);
  hearers_.report({std::move(reading.event), reading.device_time, reading.strength, last_arrival_});
  return Taken::told;
}

/// Two clocks are read for a stamp of the kernel, which may lie a little further apart each time,
/// and most on an emulated machine: less than the width that the uncertainty has for it.
KernelInstant Intake::in_order(KernelInstant arrived) const {
  constexpr base::Duration reading = std::chrono::microseconds{50};
  const bool is_just_before = arrived < last_arrival_ && last_arrival_ - arrived < reading;
  return is_just_before ? last_arrival_ : arrived;
}

Intake::Taken Intake::take(std::string_view message, KernelInstant arrived, Encoding encoding) {
  LineSorter::Sorted sorted = sort(message, arrived, encoding);
  if (sorted.kind == LineSorter::Kind::report) return tell(std::move(sorted.reading), arrived);
  return sorted.kind == LineSorter::Kind::foreign ? Taken::foreign : Taken::other;
}

/// An id of long ago is no repetition: a device that starts anew counts anew.
bool Intake::is_told(const std::string& id, KernelInstant now) {
  constexpr base::Duration remembered_for = std::chrono::minutes{1};
  while (!last_told_.empty() && now - last_told_.front().at > remembered_for) {
    last_told_.pop_front();
  }
  return !id.empty() && std::ranges::find(last_told_, id, &Told::id) != last_told_.end();
}

void Intake::keep_as_told(const std::string& id, KernelInstant now) {
  constexpr std::size_t remembered = 64;
  if (id.empty()) return;
  last_told_.push_back({id, now});
  if (last_told_.size() > remembered) last_told_.pop_front();
}

bool Intake::tell_state(bool up, KernelInstant at) {
  if (std::exchange(up_, up) == up) return false;
  hearers_.state(up, at);
  return true;
}

void Intake::remark(const std::string& text) const {
  if (hearers_.remark) hearers_.remark(fmt::format("device \"{}\": {}", device_, text));
}

void Intake::remark_unmatched(const std::string& line) const {
  remark(
      fmt::format("none of its first {} messages is what the rig file expects; the last was "
                  "\"{}\" (check \"pattern\" or \"fields\"; on a serial port, if that is garbage, "
                  "\"baud\")",
                  LineSorter::enough_lines, cut(line, 80)));
}

void Intake::remark_overlong(std::size_t most_bytes, const std::string& hint) {
  if (std::exchange(overlong_told_, true)) return;
  remark(
      fmt::format("sends messages of more than {} bytes, which are dropped{}", most_bytes, hint));
}

}  // namespace plexor::rig
