#include "app/live_session.hpp"

#include <fmt/format.h>

#include <cstdio>
#include <utility>

#include "app/aside.hpp"

namespace plexor::app {

namespace {

/// What makes pulses late costs trials, and can be mended.
void warn_of(const std::vector<rig::Finding>& scheduling) {
  for (const rig::Finding& finding : scheduling) {
    if (finding.state == rig::Finding::State::good) continue;
    say_aside("WARNING: {}: {}{}{}\n", finding.subject, finding.found,
              finding.remedy.empty() ? "" : "; ", finding.remedy);
  }
}

/// On a listener's thread: where nobody can read it any more, it is lost and nothing else.
void remark(const std::string& text) { say_aside("{}\n", text); }

}  // namespace

LiveSession::LiveSession(const rig::RigFile& rig, const std::string& rig_file, const run::Use& use)
    : name_(rig.name),
      state_(rig),
      warden_(rig_file),
      rig_(rig, use, warden_.board(), remark),
      coil_(rig, state_),
      sensors_(rig, rig_, [this] { return coil_.modelled_body_c(); }) {}

LiveSession::~LiveSession() {
  if (owes_an_end_) state_.drop_ticket();
}

bool LiveSession::arm(bool countdown) {
  warn_of(rig_.scheduling());
  rig_.wait_until_ready();
  const std::string ticket = state_.ticket_text();
  const auto leave = ask_for_leave(name_, state_, countdown, stop_);
  if (!leave) {
    say_aside("Not armed; nothing was moved.\n");
    return false;
  }
  if (leave->ends) ticket_ = ticket;
  leave_ends_ = leave->ends;
  rig_.arm(leave_ends_);
  owes_an_end_ = true;
  return true;
}

bool LiveSession::move_to(const std::string& spot) {
  if (!std::exchange(is_moving_, true)) {
    need_terminal();
    rig_.stand_down();
    say_aside(
        "\nThe coil has no power. Move the tapper to \"{}\".\n"
        "Press Enter once it stands there and hands and eyes are away; Ctrl-C ends the run: ",
        spot);
    return false;
  }
  if (key_pressed() != Key::enter) return false;
  is_moving_ = false;
  rig_.wait_until_ready();
  rig_.arm(leave_ends_);
  return true;
}

bool LiveSession::leave_stands() const {
  return ticket_.empty() || state_.ticket_text() == ticket_;
}

void LiveSession::before_fire(const run::Fire& trial) {
  if (!leave_stands()) rig_.take_leave_back("the arm ticket was taken back");
  coil_.before(trial, trial.pulses.back().off() - rig_.now());
}

void LiveSession::end_in_order() {
  rig_.stand_down();
  if (rig_.coil_is_accounted_for()) coil_.end_in_order();
  owes_an_end_ = false;
}

}  // namespace plexor::app
