#include "rig/report_reader.hpp"

#include <simdjson.h>

#include <algorithm>
#include <map>
#include <utility>

#include "rig/line_text.hpp"

namespace plexor::rig {

namespace {

std::optional<unsigned> hex_digit(char c) {
  if (is_digit(c)) return static_cast<unsigned>(c - '0');
  if (c >= 'a' && c <= 'f') return static_cast<unsigned>(c - 'a' + 10);
  if (c >= 'A' && c <= 'F') return static_cast<unsigned>(c - 'A' + 10);
  return std::nullopt;
}

/// A percent sign that no two hexadecimal digits follow stands for itself.
std::string form_decoded(std::string_view text) {
  std::string decoded;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const auto high = i + 2 < text.size() && text[i] == '%' ? hex_digit(text[i + 1]) : std::nullopt;
    const auto low = high ? hex_digit(text[i + 2]) : std::nullopt;
    if (low) {
      decoded += static_cast<char>(*high * 16U + *low);
      i += 2;
    } else {
      decoded += text[i] == '+' ? ' ' : text[i];
    }
  }
  return decoded;
}

/// The first field of each name.
std::map<std::string, std::string> form_fields(std::string_view body) {
  constexpr std::size_t most_fields = 100;
  std::map<std::string, std::string> fields;
  while (!body.empty() && fields.size() < most_fields) {
    const std::string_view field = body.substr(0, body.find('&'));
    const std::size_t equals = std::min(field.find('='), field.size());
    const std::string_view value = field.substr(std::min(equals + 1, field.size()));
    fields.emplace(form_decoded(field.substr(0, equals)), form_decoded(value));
    body.remove_prefix(std::min(field.size() + 1, body.size()));
  }
  return fields;
}

/// Of a form's field: what follows the first "/" of a JSON pointer, with its two escapes undone.
std::string name_in(const std::string& pointer) {
  std::string name;
  for (std::size_t i = 1; i < pointer.size(); ++i) {
    const bool is_escape = pointer[i] == '~' && i + 1 < pointer.size();
    name += !is_escape ? pointer[i] : pointer[++i] == '1' ? '/' : '~';
  }
  return name;
}

/// A value that is no text, number or truth says nothing.
std::string text_of(const simdjson::dom::element& value) {
  switch (value.type()) {
    case simdjson::dom::element_type::STRING: return std::string(value.get_string().value_unsafe());
    case simdjson::dom::element_type::INT64:
    case simdjson::dom::element_type::UINT64:
    case simdjson::dom::element_type::DOUBLE:
    case simdjson::dom::element_type::BOOL: return simdjson::minify(value);
    default: return {};
  }
}

}  // namespace

class ReportReader::Document {
 public:
  /// False if it is no JSON document.
  bool parse(std::string_view text) {
    if (text.empty()) return false;  // and it may be at no address at all
    const auto parsed = parser_.parse(text.data(), text.size());
    return parsed.get(root_) == simdjson::SUCCESS;
  }
  [[nodiscard]] std::string text_at(const std::string& pointer) const {
    simdjson::dom::element value;
    if (root_.at_pointer(pointer).get(value) != simdjson::SUCCESS) return {};
    return text_of(value);
  }

 private:
  simdjson::dom::parser parser_;
  simdjson::dom::element root_;
};

std::optional<std::string> ReportReader::complaint(const std::string& pointer) {
  if (pointer.empty() || pointer.front() != '/') return "no \"/\" at its begin";
  for (std::size_t at = pointer.find('~'); at != std::string::npos;
       at = pointer.find('~', at + 1)) {
    const char next = at + 1 < pointer.size() ? pointer[at + 1] : ' ';
    if (next != '0' && next != '1') return "a \"~\" that is neither ~0 nor ~1";
  }
  return std::nullopt;
}

ReportReader::ReportReader(const ReportFormat& format)
    : pattern_(format.pattern), fields_(format.fields), document_(std::make_unique<Document>()) {}

ReportReader::~ReportReader() = default;
ReportReader::ReportReader(ReportReader&&) noexcept = default;
ReportReader& ReportReader::operator=(ReportReader&&) noexcept = default;

std::optional<LineReading> ReportReader::read(std::string_view message, Encoding encoding) const {
  const bool is_form = encoding == Encoding::form;
  if (fields_) return is_form ? read_form(message) : read_document(message);
  return pattern_.read(printable(is_form ? form_decoded(message) : std::string(message)));
}

std::optional<LineReading> ReportReader::read_document(std::string_view message) const {
  if (!document_->parse(message)) return std::nullopt;
  return read_fields([this](const std::string& pointer) { return document_->text_at(pointer); });
}

std::optional<LineReading> ReportReader::read_form(std::string_view body) const {
  const auto fields = form_fields(body);
  return read_fields([&fields](const std::string& pointer) {
    const auto field = fields.find(name_in(pointer));
    return field == fields.end() ? std::string() : field->second;
  });
}

std::optional<LineReading> ReportReader::read_fields(
    const std::function<std::string(const std::string&)>& text_at) const {
  const auto text = [&](const std::string& pointer) {
    return pointer.empty() ? std::string() : printable(text_at(pointer));
  };
  LineReading reading{std::string(cut(text(fields_->event), ReportPattern::longest_event)),
                      text(fields_->device), milliseconds_in(text(fields_->device_time_ms)),
                      number_in(text(fields_->strength)),
                      std::string(cut(text(fields_->id), ReportPattern::longest_event))};
  if (reading.event.empty()) return std::nullopt;
  return reading;
}

}  // namespace plexor::rig
