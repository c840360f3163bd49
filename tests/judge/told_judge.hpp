#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "judge/judge.hpp"

namespace plexor::judge {

using base::Duration;
using base::Instant;
using namespace std::chrono_literals;

inline Instant at(Duration since_start) { return base::segment_start + since_start; }

/// A judge with verbs, so that a test tells what happened in one line for each thing.
/// Trials are `call` (contacts at 0 and 190 ms, window 1200 ms) unless told otherwise.
class ToldJudge {
 public:
  explicit ToldJudge(std::vector<std::uint32_t> listeners = {1})
      : judge_(std::move(listeners), 500ms) {}

  /// Presents and remembers; its contacts come as planned unless `contacts_at` says otherwise.
  ToldJudge& call(Duration first) { return rhythm(first, "call"); }
  ToldJudge& distractor(Duration first) { return rhythm(first, ""); }
  ToldJudge& quiet(Duration begin, Duration length) {
    return present(base::TrialKind::quiet, begin, begin, length, "");
  }
  ToldJudge& reference_taps(Duration first) {
    return present(base::TrialKind::reference, first, first + 400ms, 0ms, "");
  }
  ToldJudge& hear(const std::string& name, Duration when, std::uint32_t device = 0,
                  std::uint32_t listener = 0) {
    judge_.hear({.device = device,
                 .name = name,
                 .arrival = at(when),
                 .device_time = {},
                 .strength = {},
                 .listener = listener});
    return *this;
  }
  ToldJudge& contacts_at(Duration first, Duration last) {
    contacts_ = {at(first), at(last)};
    return *this;
  }
  ToldJudge& close(std::optional<base::VoidReason> void_reason = {}) {
    keep(judge_.close(contacts_.first, contacts_.second, void_reason));
    return *this;
  }
  /// Finishes and gives everything that settled, in order.
  std::vector<Settled> settled() {
    keep(judge_.finish());
    return std::move(settled_);
  }
  /// For a single trial: closes, finishes, and gives the first device's answer.
  Answer answer() {
    close();
    return settled().at(0).answers.at(0);
  }

 private:
  ToldJudge& rhythm(Duration first, const std::string& expects) {
    return present(base::TrialKind::rhythm, first, first + 190ms, 1200ms, expects);
  }
  ToldJudge& present(base::TrialKind kind, Duration first, Duration last, Duration window,
                     const std::string& expects) {
    judge_.present({.id = {.block = 0, .number = number_++, .attempt = 0},
                    .kind = kind,
                    .rhythm = 0,
                    .expects = expects,
                    .first_contact = at(first),
                    .last_contact = at(last),
                    .window = window});
    return contacts_at(first, last);
  }
  void keep(std::optional<Settled> settled) {
    if (settled) settled_.push_back(*std::move(settled));
  }

  Judge judge_;
  std::uint32_t number_ = 0;
  std::pair<Instant, Instant> contacts_;
  std::vector<Settled> settled_;
};

}  // namespace plexor::judge
