#include "analysis/presentation_queue.hpp"

#include <utility>

namespace plexor::analysis {
namespace {

/// A trial that was valid when it was done.
void take_back(Presentation& presentation, base::VoidReason reason) {
  const bool counts = presentation.planned.trial.kind != base::TrialKind::reference;
  if (!counts || presentation.done.void_reason) return;
  presentation.done.void_reason = reason;
  if (presentation.settled) presentation.settled->void_reason = reason;
}

}  // namespace

PresentationQueue::PresentationQueue(base::Duration held, bool awaits_reference, Release release)
    : held_(held), awaits_reference_(awaits_reference), release_(std::move(release)) {}

Presentation PresentationQueue::fresh() {
  if (spare_.empty()) return {};
  Presentation presentation = std::move(spare_.back());
  spare_.pop_back();
  presentation.settled.reset();
  presentation.quiet_heard.clear();
  presentation.is_cleared = false;
  presentation.is_past = false;
  return presentation;
}

void PresentationQueue::add(Presentation&& presentation) {
  queue_.push_back(std::move(presentation));
}

void PresentationQueue::settle(judge::Settled settled, base::Instant now) {
  Presentation& presentation = queue_[settled_++];
  presentation.settled = std::move(settled);
  presentation.settled->void_reason = presentation.done.void_reason;
  presentation.is_cleared = !awaits_reference_;
  release_ripe(now);
}

void PresentationQueue::clear_settled(base::Instant now) {
  for (std::size_t i = 0; i < settled_; ++i) queue_[i].is_cleared = true;
  release_ripe(now);
}

void PresentationQueue::void_uncleared() {
  for (Presentation& held : queue_) {
    if (!held.is_cleared) take_back(held, base::VoidReason::reference_shift);
  }
}

void PresentationQueue::void_those_after(base::Instant lost) {
  for (Presentation& held : queue_) {
    if (!held.is_past && held.done.end > lost) take_back(held, base::VoidReason::listener_down);
  }
}

void PresentationQueue::segment_over(base::Instant now) {
  for (Presentation& held : queue_) held.is_past = true;
  release_ripe(now);
}

bool PresentationQueue::is_ripe(const Presentation& presentation, base::Instant now) const {
  if (!presentation.is_cleared) return false;
  return presentation.is_past || now - presentation.done.end > held_;
}

void PresentationQueue::release_ripe(base::Instant now) {
  for (; settled_ > 0 && is_ripe(queue_.front(), now); --settled_) {
    release_(queue_.front());
    spare_.push_back(std::move(queue_.front()));
    queue_.pop_front();
  }
}

}  // namespace plexor::analysis
