#include "rig/line_listener.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <utility>
#include <variant>

#include "rig/edge_reader.hpp"
#include "rig/rate_cap.hpp"

namespace plexor::rig {

namespace {

using lines::KernelInstant;
using namespace std::chrono_literals;

std::unique_ptr<lines::Lines> take_line(const std::string& device, const LineSettings& settings) {
  return lines::request(settings.chip, {{.name = "line of " + device,
                                         .offset = settings.wire.offset,
                                         .active_low = settings.wire.active_low,
                                         .edges = true}});
}

base::Duration wait_for(const EdgeReader& reader, KernelInstant now) {
  constexpr base::Duration look_up = 20ms;
  const auto settles_at = reader.settles_at();
  return settles_at ? std::clamp(*settles_at - now, base::Duration{1ms}, look_up) : look_up;
}

}  // namespace

LineListener::LineListener(std::string device, const LineSettings& settings, Hearers hearers)
    : device_(std::move(device)),
      settings_(settings),
      hearers_(std::move(hearers)),
      line_(take_line(device_, settings_)),
      thread_([this] { live(); }) {}

LineListener::~LineListener() {
  over_ = true;
  thread_.join();
}

void LineListener::live() {
  while (!over_) {
    try {
      follow();
    } catch (const base::RigFault& fault) {
      line_.reset();
      hearers_.state(false, lines::kernel_now());
      remark(fmt::format("can't be heard any more: {}; looking for it", fault.what()));
      if (find_again()) hearers_.state(true, lines::kernel_now());
    }
  }
}

void LineListener::follow() {
  EdgeReader reader(settings_);
  std::uint64_t sequence = 0;
  RateCap cap;
  const auto tell_settled = [&](KernelInstant now) {
    const auto meaning = reader.settled(now);
    if (!meaning) return;
    if (cap.lets_pass(now)) return tell(meaning->pulses, meaning->at);
    if (cap.held_back() == 1) remark("reports too often; what is beyond is dropped");
  };
  while (!over_) {
    // An edge that is read late was stamped in time, so it speaks before the silence does.
    const KernelInstant looked = lines::kernel_now();
    const auto edge = line_->wait_edge(wait_for(reader, looked));
    tell_settled(edge ? edge->at : looked);
    if (!edge) continue;
    if (edge->sequence != ++sequence) tell_lost_edges(edge->at);
    sequence = edge->sequence;
    reader.take(edge->level, edge->at);
    tell_settled(edge->at);
  }
}

/// What was said meanwhile is not known.
void LineListener::tell_lost_edges(KernelInstant at) {
  hearers_.state(false, at);
  hearers_.state(true, at);
  remark("some edges of its line were lost: it changes faster than this computer can follow");
}

void LineListener::tell(std::size_t pulses, KernelInstant at) {
  const std::size_t which = settings_.report == LineReport::pulses ? pulses : 1;
  if (which <= settings_.events.size()) {
    return hearers_.report({.event = settings_.events[which - 1], .at = at});
  }
  if (std::exchange(miscount_told_, true)) return;
  remark(fmt::format("gave {} pulses, for which the rig file names no event", pulses));
}

bool LineListener::find_again() {
  constexpr base::Duration longest_wait = 5s;
  constexpr base::Duration look_up = 100ms;
  for (base::Duration wait = look_up; !over_; wait = std::min(wait * 2, longest_wait)) {
    const KernelInstant next = lines::kernel_now() + wait;
    while (!over_ && lines::kernel_now() < next) lines::kernel_nap(look_up / 2);
    try {
      line_ = take_line(device_, settings_);
      return true;
    } catch (const base::RigFault&) {  // still not there
    }
  }
  return false;
}

void LineListener::remark(const std::string& text) const {
  if (hearers_.remark) hearers_.remark(fmt::format("device \"{}\": {}", device_, text));
}

}  // namespace plexor::rig
