#include "rig/line_sorter.hpp"

#include "rig/line_text.hpp"

namespace plexor::rig {

LineSorter::LineSorter(std::string device, const ReportFormat& format,
                       const std::optional<IdentitySettings>& identity)
    : device_(std::move(device)), report_(format) {
  if (identity) answer_.emplace(identity->pattern);
  if (identity && !identity->banner.empty()) banner_.emplace(identity->banner);
}

LineSorter::Sorted LineSorter::sort(std::string_view message, Encoding encoding) {
  Sorted sorted = kind_of(message, encoding);
  has_matched_ = has_matched_ || sorted.kind != Kind::other;
  if (!has_matched_ && unmatched_ < enough_lines) ++unmatched_;
  return sorted;
}

LineSorter::Sorted LineSorter::kind_of(std::string_view message, Encoding encoding) const {
  if (answer_) {
    const std::string line = printable(message);
    if (banner_ && banner_->is_in(line)) return {.kind = Kind::banner};
    const auto version = answer_->group(line, "version");
    if (version && !version->empty()) return {.kind = Kind::answer, .version = *version};
  }
  auto reading = report_.read(message, encoding);
  if (!reading) return {};
  if (!reading->device.empty() && reading->device != device_) return {.kind = Kind::foreign};
  return {.kind = Kind::report, .reading = std::move(*reading)};
}

}  // namespace plexor::rig
