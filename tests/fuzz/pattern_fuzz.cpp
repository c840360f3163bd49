#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string>
#include <string_view>

#include "rig/line_text.hpp"
#include "rig/report_pattern.hpp"

// The first line is a pattern as a rig file may have it, the rest a line of a device: the
// pattern is complained of, or reads what the device says.
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace plexor::rig;
  const std::string_view input(reinterpret_cast<const char*>(data), size);
  const std::string pattern(input.substr(0, input.find('\n')));
  if (pattern.empty() || ReportPattern::complaint(pattern)) return 0;
  const std::string line =
      printable(input.size() > pattern.size() ? input.substr(pattern.size() + 1) : "");
  const auto reading = ReportPattern(pattern).read(line);
  if (!reading) return 0;
  if (reading->event.empty() || reading->event.size() > ReportPattern::longest_event) std::abort();
  if (line.find(reading->event) == std::string::npos) std::abort();
  return 0;
}
