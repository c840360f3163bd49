#pragma once

#include <string>

#include "analysis/results.hpp"

namespace plexor::report {

/// results.xml in the JUnit style that CI servers read: a test suite for each device with a test
/// case for each of its verdicts, and one for the whole run. A failed limit is a <failure>, an
/// undecided one an <error>: it is no evidence of a fault, but nothing may go on as if it passed.
[[nodiscard]] std::string junit_xml(const analysis::Results& results);

}  // namespace plexor::report
