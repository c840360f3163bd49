#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>

#include "rig/listener_settings.hpp"
#include "rig/report_pattern.hpp"

namespace plexor::rig {

/// How a message is wrapped: as it is, or as the body of a web form
/// (application/x-www-form-urlencoded).
enum class Encoding : std::uint8_t { plain, form };

/// From a message of a device to what it says. Whatever comes is borne. Not for use by
/// several threads at once.
class ReportReader {
 public:
  /// What is wrong with a JSON pointer (RFC 6901) as rig files have it; nothing if it can be used.
  [[nodiscard]] static std::optional<std::string> complaint(const std::string& pointer);

  /// A format whose pattern and fields are without complaint.
  explicit ReportReader(const ReportFormat& format);
  ~ReportReader();
  ReportReader(const ReportReader&) = delete;
  ReportReader& operator=(const ReportReader&) = delete;
  ReportReader(ReportReader&&) noexcept;
  ReportReader& operator=(ReportReader&&) noexcept;

  /// Nothing if the message is no report. `message` as it came: text is made printable before
  /// the pattern is tried, a form is decoded before (the WHATWG's URL standard, section 5.1).
  [[nodiscard]] std::optional<LineReading> read(std::string_view message,
                                                Encoding encoding = Encoding::plain) const;

 private:
  class Document;
  [[nodiscard]] std::optional<LineReading> read_document(std::string_view message) const;
  [[nodiscard]] std::optional<LineReading> read_form(std::string_view body) const;
  [[nodiscard]] std::optional<LineReading> read_fields(
      const std::function<std::string(const std::string&)>& text_at) const;

  ReportPattern pattern_;
  std::optional<ReportFields> fields_;
  std::unique_ptr<Document> document_;
};

}  // namespace plexor::rig
