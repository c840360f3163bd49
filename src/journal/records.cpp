#include "journal/records.hpp"

namespace plexor::journal {

std::string_view to_text(Ended::Reason reason) {
  switch (reason) {
    case Ended::Reason::complete: return "complete";
    case Ended::Reason::interrupted: return "interrupted";
    case Ended::Reason::fault: return "fault";
    case Ended::Reason::too_many_voids: return "too-many-voids";
  }
  return "unknown";
}

}  // namespace plexor::journal
