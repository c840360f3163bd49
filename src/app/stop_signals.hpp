#pragma once

namespace plexor::app {

/// From construction on, SIGINT, SIGTERM, SIGHUP and SIGQUIT ask for an orderly stop
/// instead of ending the process. A second SIGINT does no more than the first:
/// the stop is on its way. (A stop, not an emergency stop.)
class StopSignals {
 public:
  StopSignals();
  ~StopSignals();
  StopSignals(const StopSignals&) = delete;
  StopSignals& operator=(const StopSignals&) = delete;

  [[nodiscard]] bool requested() const;
};

}  // namespace plexor::app
