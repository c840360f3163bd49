#include <utility>

#include "base/outcome.hpp"
#include "base/trial.hpp"

namespace plexor::base {

std::string_view to_text(TrialKind kind) {
  switch (kind) {
    case TrialKind::rhythm: return "rhythm";
    case TrialKind::quiet: return "quiet";
    case TrialKind::reference: return "reference";
  }
  return "unknown";
}

std::string_view to_text(Outcome outcome) {
  switch (outcome) {
    case Outcome::hit: return "hit";
    case Outcome::miss: return "miss";
    case Outcome::early: return "early";
    case Outcome::late: return "late";
    case Outcome::confusion: return "confusion";
    case Outcome::correct_rejection: return "correct-rejection";
    case Outcome::false_response: return "false-response";
  }
  return "unknown";
}

std::string_view to_text(VoidReason reason) {
  switch (reason) {
    case VoidReason::late_pulse: return "late-pulse";
    case VoidReason::wrong_pulse: return "wrong-pulse";
    case VoidReason::no_contact: return "no-contact";
    case VoidReason::re_strike: return "re-strike";
    case VoidReason::stray_contact: return "stray-contact";
    case VoidReason::listener_down: return "listener-down";
    case VoidReason::reference_shift: return "reference-shift";
    case VoidReason::interrupted: return "interrupted";
  }
  return "unknown";
}

std::optional<VoidReason> void_reason_from(std::string_view text) {
  for (const VoidReason reason : all_void_reasons) {
    if (to_text(reason) == text) return reason;
  }
  return std::nullopt;
}

}  // namespace plexor::base
