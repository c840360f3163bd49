#include "app/exit_code.hpp"

namespace plexor::app {

ExitCode exit_code_of(const analysis::Results& results) {
  if (results.ended && results.ended->reason == journal::Ended::Reason::fault) {
    return ExitCode::fault;
  }
  switch (results.overall) {
    case analysis::Judgement::pass:
    case analysis::Judgement::measured: return ExitCode::pass;
    case analysis::Judgement::fail: return ExitCode::fail;
    case analysis::Judgement::undecided: return ExitCode::undecided;
  }
  return ExitCode::undecided;
}

}  // namespace plexor::app
