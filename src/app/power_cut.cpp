#include "app/power_cut.hpp"

#include <algorithm>
#include <cstdlib>
#include <string>
#include <utility>

#include "app/aside.hpp"

namespace plexor::app {

namespace {

class OnlyWhatIsSynced final : public journal::Sink {
 public:
  explicit OnlyWhatIsSynced(std::unique_ptr<journal::Sink> file) : file_(std::move(file)) {}

  void write(std::string_view bytes) override { written_ += bytes; }
  /// The file's own sync would only take time: it is this process that dies, not the computer.
  void sync() override {
    file_->write(written_);
    written_.clear();
  }

 private:
  std::unique_ptr<journal::Sink> file_;
  std::string written_;
};

}  // namespace

std::optional<rig::Observation> SensesUntilPowerCut::observe_until(base::Instant deadline) {
  auto observation = senses_.observe_until(std::min(deadline, cut_));
  if (!observation && clock_.now() >= cut_) throw PowerCut{};
  return observation;
}

std::unique_ptr<journal::Sink> only_what_is_synced(std::unique_ptr<journal::Sink> file) {
  return std::make_unique<OnlyWhatIsSynced>(std::move(file));
}

void die_of_power_cut(base::Instant at) {
  constexpr int as_if_killed = 137;  // 128 + SIGKILL, as shells say it
  say_aside("\nThe simulated power fails {:.0f} s after the run's begin.\n",
            base::to_s(at.time_since_epoch()));
  std::_Exit(as_if_killed);
}

}  // namespace plexor::app
