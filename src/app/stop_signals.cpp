#include "app/stop_signals.hpp"

#include <array>
#include <csignal>

namespace plexor::app {

namespace {

constexpr std::array handled{SIGINT, SIGTERM, SIGHUP, SIGQUIT};

// The one global: a signal handler can reach nothing else.
volatile std::sig_atomic_t stop_requested = 0;

extern "C" void request_stop(int /*signal*/) { stop_requested = 1; }

void handle_with(void (*handler)(int)) {
  for (const int signal : handled) {
    struct sigaction action {};
    action.sa_handler = handler;
    sigaction(signal, &action, nullptr);
  }
}

}  // namespace

StopSignals::StopSignals() {
  handle_with(request_stop);
  std::signal(SIGPIPE, SIG_IGN);  // whoever read along has gone: that ends no run
}
StopSignals::~StopSignals() {
  handle_with(SIG_DFL);
  std::signal(SIGPIPE, SIG_DFL);
}

bool StopSignals::requested() const { return stop_requested != 0; }

}  // namespace plexor::app
