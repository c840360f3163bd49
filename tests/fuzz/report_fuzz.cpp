#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <optional>
#include <string>
#include <string_view>

#include "rig/line_text.hpp"
#include "rig/report_reader.hpp"

// The first line is a JSON pointer as a rig file may have it, the rest a message of a device:
// whatever it is, as a document and as a form, its parts are short, printable text and finite
// numbers; and what was read before makes no difference.

namespace {

using namespace plexor::rig;

void require(bool promise) {
  if (!promise) std::abort();
}

bool is_short_text(const std::string& text) {
  return text.size() <= ReportPattern::longest_event && printable(text) == text;
}

void check(const ReportReader& reader, const ReportFormat& format, std::string_view message,
           Encoding encoding) {
  const auto reading = reader.read(message, encoding);
  const auto afresh = ReportReader(format).read(message, encoding);
  require(reading.has_value() == afresh.has_value());
  if (!reading) return;
  require(!reading->event.empty() && is_short_text(reading->event) && is_short_text(reading->id));
  require(printable(reading->device) == reading->device);
  require(reading->event == afresh->event && reading->device == afresh->device);
  require(reading->device_time == afresh->device_time && reading->strength == afresh->strength);
  require(!reading->strength || *reading->strength - *reading->strength == 0.0);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view input(reinterpret_cast<const char*>(data), size);
  const std::string pointer(input.substr(0, input.find('\n')));
  if (ReportReader::complaint(pointer)) return 0;
  const std::string_view message =
      input.size() > pointer.size() ? input.substr(pointer.size() + 1) : std::string_view();
  const ReportFormat format{.fields = ReportFields{.event = pointer,
                                                   .device = "/device",
                                                   .device_time_ms = "/ms",
                                                   .strength = "/knock/strength",
                                                   .id = pointer}};
  const ReportReader reader(format);
  for (const Encoding encoding : {Encoding::plain, Encoding::form, Encoding::plain}) {
    check(reader, format, message, encoding);
  }
  return 0;
}
