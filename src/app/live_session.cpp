#include "app/live_session.hpp"

#include <fmt/format.h>

#include <cstdio>
#include <filesystem>
#include <system_error>
#include <utility>

#include "app/aside.hpp"
#include "base/error.hpp"

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

void LiveSession::use_up_ticket_of(const run::RunFolder& interrupted) const {
  std::error_code error;
  const auto given = std::filesystem::last_write_time(state_.ticket_file(), error);
  if (error) return;  // there is none
  const auto written = std::filesystem::last_write_time(interrupted.journal(), error);
  if (error || given > written) return;
  say_aside("The arm ticket of the run that broke off is used up.\n");
  state_.drop_ticket();
}

bool LiveSession::may_be_armed_now() const {
  return has_terminal() || leave_by_ticket(name_, state_).has_value();
}

void LiveSession::listen_only() {
  warn_of(rig_.scheduling());
  only_listens_ = true;
  rig_.listen_only();
  say_aside(
      "Nobody has armed \"{}\": only listening goes on. \"plexor arm\" at the rig lets it tap.\n",
      name_);
}

bool LiveSession::takes_up_leave() {
  constexpr auto look_every = std::chrono::seconds{1};
  if (!only_listens_ || lines::kernel_now() - looked_for_ticket_at_ < look_every) return false;
  looked_for_ticket_at_ = lines::kernel_now();
  const std::string ticket = state_.ticket_text();
  if (ticket.empty() || ticket == refused_ticket_) return false;
  refused_ticket_ = ticket;  // until it has armed
  const auto leave = leave_by_ticket(name_, state_);
  if (!leave) return false;
  try {
    rig_.wait_until_ready();
    rig_.arm(leave->ends);
  } catch (const base::RigFault& fault) {
    say_aside(
        "The arm ticket was not taken up: {}; listening goes on. Give a new one once it is "
        "mended.\n",
        fault.what());
    state_.drop_ticket();
    return false;
  }
  ticket_ = ticket;
  leave_ends_ = leave->ends;
  owes_an_end_ = true;
  only_listens_ = false;
  say_aside("Armed by the ticket.\n");
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
