#include "run/replay.hpp"

#include <fmt/format.h>

#include <stdexcept>
#include <utility>
#include <variant>

#include "base/error.hpp"

namespace plexor::run {

namespace {

[[noreturn]] void refuse(const std::string& found) {
  throw base::InputError(found +
                         "; the journal was not written from the scenario and rig in its header, "
                         "and its run can't go on");
}

}  // namespace

Replay::Replay(const scenario::Scenario& scenario, const rig::RigFile& rig, bool lifted)
    : scenario_(scenario), past_{.ledger = Ledger(scenario, rig.devices, lifted)} {}

void Replay::take(const journal::Record& record) {
  try {
    std::visit([this](const auto& one) { on(one); }, record);
  } catch (const std::logic_error& error) {
    refuse(fmt::format("journal: a record out of turn ({})", error.what()));
  }
}

void Replay::on(const journal::Segment& segment) {
  if (past_.segments > 0) past_.ledger.end_segment();
  open_.reset();
  ++past_.segments;
  past_.last = segment;
  past_.ended.reset();
}

void Replay::on(const journal::TrialPlanned& planned) {
  const base::Trial& trial = planned.trial;
  const bool is_of_a_block = trial.kind != base::TrialKind::reference;
  if ((is_of_a_block && trial.id.block >= scenario_.blocks.size()) ||
      (!is_of_a_block && !scenario_.reference) ||
      (trial.kind == base::TrialKind::rhythm && trial.rhythm >= scenario_.rhythms.size())) {
    refuse(fmt::format("journal: trial {} of block {} is not of this scenario", trial.id.number,
                       trial.id.block));
  }
  if (open_) past_.ledger.end_segment();  // damage took the end of the one before
  past_.ledger.planned(planned);
  open_ = planned;
}

void Replay::on(const journal::TrialDone& done) {
  if (!open_ || open_->trial.id != done.id) return;  // its plan is among damaged lines
  (void)past_.ledger.closed(*open_, done);
  open_.reset();
}

void Replay::on(const journal::Heard& heard) { past_.ledger.heard(heard.event); }

void Replay::on(const journal::Disturbance& told) { past_.ledger.disturbed(told); }

void Replay::on(const journal::ListenerState& state) {
  if (!state.up) past_.ledger.take_back_unheard(state.at);
}

void Replay::on(const journal::ReferenceShift&) { (void)past_.ledger.take_back_since_reference(); }

void Replay::on(const journal::Moved& moved) {
  if (moved.spot >= scenario_.spots.size()) refuse(fmt::format("journal: spot {}", moved.spot));
  past_.ledger.moved(moved.spot);
}

Replay::Past Replay::finish() {
  past_.ledger.end_segment();
  return std::move(past_);
}

}  // namespace plexor::run
