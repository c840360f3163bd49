#include "archive/content_hash.hpp"

#include <fmt/format.h>

#include <boost/uuid/name_generator_sha1.hpp>
#include <boost/uuid/string_generator.hpp>
#include <boost/uuid/uuid_io.hpp>
#include <concepts>
#include <cstdint>
#include <optional>
#include <string_view>

#include "archive/columns.hpp"

namespace plexor::archive {

namespace {

/// "name=value\n" for each figure. Texts stand behind their length, so that none can look like
/// another's end; numbers as the shortest text that reads back the same.
class CanonicalText {
 public:
  void operator()(std::string_view name, const std::string& text) {
    text_ += fmt::format("{}={}:{}\n", name, text.size(), text);
  }
  void operator()(std::string_view name, double value) {
    text_ += fmt::format("{}={}\n", name, value);
  }
  void operator()(std::string_view name, const std::optional<double>& value) {
    if (value) (*this)(name, *value);
  }
  template <std::integral Number>
  void operator()(std::string_view name, Number value) {
    text_ += fmt::format("{}={}\n", name, static_cast<std::int64_t>(value));
  }
  void operator()(std::string_view name, analysis::Hole::Cause cause) {
    (*this)(name, static_cast<int>(cause));
  }

  [[nodiscard]] const std::string& text() const { return text_; }

 private:
  std::string text_;
};

void write_device(CanonicalText& text, const analysis::DeviceFigures& device) {
  text("device", 0);
  each_column_of_device(device, text);
  for (const analysis::HourOfDay& hour : device.by_hour) each_column_of_hour(hour, text);
}

}  // namespace

std::string content_hash(const analysis::RunFigures& run) {
  CanonicalText text;
  each_column_of_run(run, [&text](std::string_view name, const auto& value) {
    if (name != "folder") text(name, value);
  });
  for (const analysis::Hole& hole : run.holes) {
    text("hole", 0);
    each_column_of_hole(hole, text);
  }
  for (const analysis::DeviceFigures& device : run.devices) write_device(text, device);
  const boost::uuids::name_generator_sha1 hash(
      boost::uuids::string_generator()("7c2a5f0e-93d4-4b61-a8f7-1e60c9b2d35a"));
  return boost::uuids::to_string(hash(text.text()));
}

}  // namespace plexor::archive
