#include "rig/line_sorter.hpp"

namespace plexor::rig {

LineSorter::LineSorter(std::string device, const SerialSettings& settings,
                       const std::optional<IdentitySettings>& identity)
    : device_(std::move(device)), report_(settings.pattern) {
  if (identity) answer_.emplace(identity->pattern);
  if (identity && !identity->banner.empty()) banner_.emplace(identity->banner);
}

LineSorter::Sorted LineSorter::sort(std::string_view line) {
  Sorted sorted = kind_of(line);
  has_matched_ = has_matched_ || sorted.kind != Kind::other;
  if (!has_matched_ && unmatched_ < enough_lines) ++unmatched_;
  return sorted;
}

LineSorter::Sorted LineSorter::kind_of(std::string_view line) const {
  if (banner_ && banner_->is_in(line)) return {.kind = Kind::banner};
  if (answer_) {
    const auto version = answer_->group(line, "version");
    if (version && !version->empty()) return {.kind = Kind::answer, .version = *version};
  }
  auto reading = report_.read(line);
  if (!reading) return {};
  if (!reading->device.empty() && reading->device != device_) return {.kind = Kind::foreign};
  return {.kind = Kind::report, .reading = std::move(*reading)};
}

}  // namespace plexor::rig
