#pragma once

#include <cstdint>
#include <memory>
#include <nlohmann/json.hpp>

#include "app/job.hpp"
#include "judge/judge.hpp"
#include "run/conductor.hpp"

namespace plexor::app {

/// Tells a broker how a run gets on, as the rig file's [publish] says; without one it tells
/// nobody. Never holds the run up: what can't be sent in time is dropped and counted.
///
/// TOPIC/state (retained): waiting, running, ended, failed; vanished is said by the broker
/// itself, when the controller is gone without a word. TOPIC/progress: once a second at most.
/// TOPIC/outcome: each trial, once nothing can change its answers but a shift of the
/// reference taps or a listener's loss that is noticed late. TOPIC/summary (retained): the answer.
/// All are JSON objects.
class RunPublisher {
 public:
  /// Throws base::InputError for a password or certificate that can't be used.
  explicit RunPublisher(const Job& job);
  /// Without an end: says that the run failed.
  ~RunPublisher();
  RunPublisher(const RunPublisher&) = delete;
  RunPublisher& operator=(const RunPublisher&) = delete;

  void progress(const run::Progress& progress);
  void outcome(const judge::Settled& settled);
  /// `summary`: see summary_of.
  void end(const nlohmann::ordered_json& summary);
  /// Messages that could not be sent in time, so far.
  [[nodiscard]] std::uint64_t dropped() const;

 private:
  class Line;
  std::unique_ptr<Line> line_;
};

}  // namespace plexor::app
