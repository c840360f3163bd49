#include "rig/network/web_request.hpp"

#include <algorithm>
#include <array>
#include <boost/beast/core/string.hpp>
#include <boost/beast/http/parser.hpp>
#include <boost/beast/http/string_body.hpp>
#include <iterator>
#include <optional>
#include <utility>

namespace plexor::rig {

namespace {

namespace beast = boost::beast;
namespace http = boost::beast::http;
using boost::system::error_code;
using Message = http::request<http::string_body>;
using Progress = WebRequestReader::Progress;

constexpr std::uint32_t bad_request = 400;
constexpr std::uint32_t length_required = 411;
constexpr std::uint32_t too_large = 413;
constexpr std::uint32_t unknown_expectation = 417;
constexpr std::uint32_t header_too_large = 431;

bool is_digit(char c) { return c >= '0' && c <= '9'; }

std::string text_of(beast::string_view text) { return {text.data(), text.size()}; }

std::string_view trimmed(std::string_view text) {
  const std::size_t first = text.find_first_not_of(" \t");
  if (first == std::string_view::npos) return {};
  return text.substr(first, text.find_last_not_of(" \t") - first + 1);
}

/// Headers are printable but for tabs and CRLF, which never stand alone.
bool may_follow(char before, char c) {
  if (before == '\r') return c == '\n';
  const auto byte = static_cast<unsigned char>(c);
  return c == '\r' || c == '\t' || (byte >= 0x20U && byte != 0x7FU);
}

bool is_folded(std::string_view head) {
  return head.find("\r\n ") != std::string_view::npos ||
         head.find("\r\n\t") != std::string_view::npos;
}

bool has_several(const Message& message, http::field name) { return message.count(name) > 1; }

/// The library takes some lengths that others read in another way: "5, 5", the same one twice;
/// and it passes over codings that it does not know, as if there were no body.
bool is_length_clear(const Message& message) {
  if (message.count(http::field::content_length) > 0) {
    const std::string length = text_of(message[http::field::content_length]);
    return !has_several(message, http::field::content_length) &&
           message.count(http::field::transfer_encoding) == 0 && !length.empty() &&
           std::all_of(length.begin(), length.end(), is_digit);
  }
  if (message.count(http::field::transfer_encoding) == 0) return true;
  return !has_several(message, http::field::transfer_encoding) && message.version() == 11 &&
         beast::iequals(message[http::field::transfer_encoding], "chunked");
}

/// RFC 9112, 3.2: a request of HTTP/1.1 has one Host.
bool is_host_clear(const Message& message) {
  return message.count(http::field::host) == 1 ||
         (message.version() == 10 && message.count(http::field::host) == 0);
}

bool is_clear(const Message& message) {
  constexpr std::array single{http::field::authorization, http::field::content_type,
                              http::field::content_encoding, http::field::expect};
  return is_length_clear(message) && is_host_clear(message) &&
         std::none_of(single.begin(), single.end(),
                      [&](http::field name) { return has_several(message, name); });
}

std::string token_in(const std::string& authorization) {
  constexpr std::string_view scheme = "bearer ";
  if (!beast::iequals(authorization.substr(0, scheme.size()), scheme.data())) return {};
  return std::string(trimmed(std::string_view(authorization).substr(scheme.size())));
}

std::string media_type_in(const std::string& content_type) {
  std::string type(trimmed(std::string_view(content_type).substr(0, content_type.find(';'))));
  std::transform(type.begin(), type.end(), type.begin(), [](char c) {
    return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
  });
  return type;
}

bool is_packed(const Message& message) {
  return message.count(http::field::content_encoding) > 0 &&
         !beast::iequals(message[http::field::content_encoding], "identity");
}

std::uint32_t status_of(const error_code& error) {
  return error == http::error::body_limit ? too_large : bad_request;
}

}  // namespace

/// The library's, told to be stricter.
class WebRequestReader::Parser {
 public:
  explicit Parser(const WebHookLimits& limits) {
    // The library may ask for one byte more than there is before it believes a header's end.
    parser_.header_limit(static_cast<std::uint32_t>(limits.header_bytes + 1));
    parser_.body_limit(limits.body_bytes);
    parser_.on_chunk_header(refuse_extensions_);
  }

  /// Zero, or the status that says what is wrong.
  std::uint32_t take_head(std::string_view head) {
    error_code error;
    const std::size_t used = parser_.put(boost::asio::buffer(head), error);
    if (error) return status_of(error);
    if (used != head.size() || !is_clear(message())) return bad_request;
    parser_.eager(true);
    fields_ = count_fields();
    return 0;
  }
  /// How much it took; `status` as above.
  std::size_t take_body(std::string_view bytes, std::uint32_t& status) {
    error_code error;
    const std::size_t used = parser_.put(boost::asio::buffer(bytes), error);
    const bool has_trailer = count_fields() != fields_;
    if (error && error != http::error::need_more) status = status_of(error);
    if (has_trailer) status = bad_request;
    return used;
  }
  [[nodiscard]] bool is_whole() const { return parser_.is_done(); }
  [[nodiscard]] bool stays() const { return message().version() == 11 && parser_.keep_alive(); }
  [[nodiscard]] const Message& message() const { return parser_.get(); }
  [[nodiscard]] std::string take_text() { return std::move(parser_.get().body()); }

 private:
  [[nodiscard]] std::ptrdiff_t count_fields() const {
    return std::distance(message().begin(), message().end());
  }

  std::function<void(std::uint64_t, beast::string_view, error_code&)> refuse_extensions_ =
      [](std::uint64_t, beast::string_view extension, error_code& error) {
        if (!extension.empty()) error = http::error::bad_chunk_extension;
      };
  http::request_parser<http::string_body> parser_;
  std::ptrdiff_t fields_ = 0;
};

namespace {

WebRequest request_in(const Message& message) {
  const auto text = [&](http::field name) { return text_of(message[name]); };
  const std::string target = text_of(message.target());
  WebRequest request;
  request.is_post = message.method() == http::verb::post;
  request.path = target.substr(0, target.find('?'));
  request.token = token_in(text(http::field::authorization));
  request.media_type = media_type_in(text(http::field::content_type));
  request.is_packed = is_packed(message);
  request.awaits_leave = message.count(http::field::expect) > 0;
  return request;
}

bool says_length(const Message& message) {
  return message.count(http::field::content_length) +
             message.count(http::field::transfer_encoding) >
         0;
}

bool expects_unknown(const Message& message) {
  return message.count(http::field::expect) > 0 &&
         !beast::iequals(message[http::field::expect], "100-continue");
}

}  // namespace

WebRequestReader::WebRequestReader(const WebHookLimits& limits) : limits_(limits) {}

WebRequestReader::~WebRequestReader() = default;

void WebRequestReader::feed(std::string_view bytes) {
  bytes_.erase(0, taken_);
  taken_ = 0;
  bytes_.append(bytes);
}

void WebRequestReader::forget() {
  parser_.reset();
  request_ = {};
  scanned_ = 0;
}

Progress WebRequestReader::refuse(std::uint32_t status) {
  refusal_ = status;
  return Progress::refused;
}

Progress WebRequestReader::advance() {
  if (refusal_ != 0) return Progress::refused;
  return parser_ ? read_body() : read_head();
}

Progress WebRequestReader::read_head() {
  const std::string_view bytes = rest();
  std::size_t& at = scanned_;
  for (; at < bytes.size(); ++at) {
    if (at >= limits_.header_bytes) return refuse(header_too_large);
    const char before = at == 0 ? ' ' : bytes[at - 1];
    if (!may_follow(before, bytes[at])) return refuse(bad_request);
    if (bytes.substr(0, at + 1).ends_with("\r\n\r\n")) break;
  }
  if (at == bytes.size()) return Progress::needs_more;
  const std::string_view head = bytes.substr(0, at + 1);
  if (is_folded(head)) return refuse(bad_request);
  parser_ = std::make_unique<Parser>(limits_);
  if (const std::uint32_t status = parser_->take_head(head); status != 0) return refuse(status);
  const Message& message = parser_->message();
  if (expects_unknown(message)) return refuse(unknown_expectation);
  request_ = request_in(message);
  if (request_.is_post && !says_length(message)) return refuse(length_required);
  request_.has_body = !parser_->is_whole();
  request_.stays = parser_->stays();
  taken_ += head.size();
  return Progress::head;
}

Progress WebRequestReader::read_body() {
  while (!parser_->is_whole() && !rest().empty()) {
    std::uint32_t status = 0;
    const std::size_t used = parser_->take_body(rest(), status);
    taken_ += used;
    if (status != 0) return refuse(status);
    if (used == 0) break;
  }
  if (!parser_->is_whole()) {
    // Only the line of a chunk's size can be kept for later, and that is short.
    return rest().size() > limits_.header_bytes ? refuse(bad_request) : Progress::needs_more;
  }
  request_.body = parser_->take_text();
  return Progress::whole;
}

}  // namespace plexor::rig
