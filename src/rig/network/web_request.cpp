#include "rig/network/web_request.hpp"

#include <algorithm>
#include <array>
#include <boost/beast/core/string.hpp>
#include <boost/beast/http/empty_body.hpp>
#include <boost/beast/http/parser.hpp>
#include <charconv>
#include <limits>
#include <optional>

#include "rig/line_text.hpp"

namespace plexor::rig {

namespace {

namespace beast = boost::beast;
namespace http = boost::beast::http;
using boost::system::error_code;
using Message = http::request<http::empty_body>;
using Progress = WebRequestReader::Progress;

constexpr std::uint32_t bad_request = 400;
constexpr std::uint32_t length_required = 411;
constexpr std::uint32_t too_large = 413;
constexpr std::uint32_t unknown_expectation = 417;
constexpr std::uint32_t header_too_large = 431;

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
/// and it passes over codings that it does not know, as if there were no body. What it does
/// with chunks fails its own assertions for some trailers, so it is given headers only.
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

/// Of a clear message.
std::optional<std::uint64_t> length_in(const Message& message) {
  if (message.count(http::field::content_length) == 0) return std::nullopt;
  const std::string text = text_of(message[http::field::content_length]);
  std::uint64_t length = std::numeric_limits<std::uint64_t>::max();  // what is beyond stays so
  std::from_chars(text.data(), text.data() + text.size(), length);
  return length;
}

bool expects_unknown(const Message& message) {
  return message.count(http::field::expect) > 0 &&
         !beast::iequals(message[http::field::expect], "100-continue");
}

}  // namespace

void WebRequestReader::feed(std::string_view bytes) {
  bytes_.erase(0, taken_);
  taken_ = 0;
  bytes_.append(bytes);
}

void WebRequestReader::forget() {
  request_ = {};
  part_ = Part::head;
  scanned_ = 0;
}

WebRequestReader::Step WebRequestReader::refuse(std::uint32_t status) {
  refusal_ = status;
  return Step::refused;
}

Progress WebRequestReader::advance() {
  if (refusal_ != 0) return Progress::refused;
  const bool is_at_head = part_ == Part::head;
  Step step = is_at_head ? find_head() : Step::done;
  while (!is_at_head && step == Step::done && part_ != Part::nothing) step = read_part();
  if (step == Step::needs_more) return Progress::needs_more;
  if (step == Step::refused) return Progress::refused;
  return is_at_head ? Progress::head : Progress::whole;
}

WebRequestReader::Step WebRequestReader::find_head() {
  const std::string_view bytes = rest();
  std::size_t& at = scanned_;
  for (; at < bytes.size(); ++at) {
    if (at >= limits_.header_bytes) return refuse(header_too_large);
    const char before = at == 0 ? ' ' : bytes[at - 1];
    if (!may_follow(before, bytes[at])) return refuse(bad_request);
    if (bytes.substr(0, at + 1).ends_with("\r\n\r\n")) return read_head(bytes.substr(0, at + 1));
  }
  return Step::needs_more;
}

WebRequestReader::Step WebRequestReader::read_head(std::string_view head) {
  http::request_parser<http::empty_body> parser;
  // The library may ask for one byte more than there is before it believes a header's end.
  parser.header_limit(static_cast<std::uint32_t>(limits_.header_bytes + 1));
  parser.skip(true);
  error_code error;
  const std::size_t used = parser.put(boost::asio::buffer(head), error);
  const Message& message = parser.get();
  if (error || used != head.size() || is_folded(head) || !is_clear(message)) {
    return refuse(bad_request);
  }
  if (expects_unknown(message)) return refuse(unknown_expectation);
  request_ = request_in(message);
  request_.stays = message.version() == 11 && parser.keep_alive();
  const bool is_chunked = message.count(http::field::transfer_encoding) > 0;
  const auto length = length_in(message);
  if (request_.is_post && !is_chunked && !length) return refuse(length_required);
  left_ = length.value_or(0);
  if (left_ > limits_.body_bytes) return refuse(too_large);
  request_.has_body = is_chunked || left_ > 0;
  part_ = is_chunked ? Part::size_of_chunk : Part::body;
  taken_ += head.size();
  return Step::done;
}

WebRequestReader::Step WebRequestReader::read_part() {
  switch (part_) {
    case Part::body: return read_data(Part::nothing);
    case Part::size_of_chunk: return read_size();
    case Part::end_of_size: return read_line_end(left_ > 0 ? Part::chunk : Part::end_of_chunks);
    case Part::chunk: return read_data(Part::end_of_chunk);
    case Part::end_of_chunk: return read_line_end(Part::size_of_chunk);
    case Part::end_of_chunks: return read_line_end(Part::nothing);
    case Part::head:
    case Part::nothing: break;
  }
  return Step::done;
}

WebRequestReader::Step WebRequestReader::read_data(Part next) {
  const std::string_view data = rest().substr(0, left_);
  request_.body.append(data);
  taken_ += data.size();
  left_ -= data.size();
  if (left_ > 0) return Step::needs_more;
  part_ = next;
  return Step::done;
}

/// No signs, spaces or extensions.
WebRequestReader::Step WebRequestReader::read_size() {
  constexpr std::size_t most_digits = 16;
  const std::string_view bytes = rest();
  const std::size_t digits =
      std::min(bytes.find_first_not_of("0123456789abcdefABCDEF"), bytes.size());
  if (digits > most_digits) return refuse(bad_request);
  if (digits == bytes.size()) return Step::needs_more;
  if (digits == 0) return refuse(bad_request);
  std::from_chars(bytes.data(), bytes.data() + digits, left_, 16);
  if (left_ > limits_.body_bytes - request_.body.size()) return refuse(too_large);
  taken_ += digits;
  part_ = Part::end_of_size;
  return Step::done;
}

WebRequestReader::Step WebRequestReader::read_line_end(Part next) {
  constexpr std::string_view line_end = "\r\n";
  const std::string_view bytes = rest().substr(0, line_end.size());
  if (!line_end.starts_with(bytes)) return refuse(bad_request);
  if (bytes.size() < line_end.size()) return Step::needs_more;
  taken_ += line_end.size();
  part_ = next;
  return Step::done;
}

}  // namespace plexor::rig
