#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <string>
#include <string_view>

#include "base/time.hpp"

namespace plexor::rig {

/// How much whoever calls a web hook may ask of it.
struct WebHookLimits {
  std::size_t header_bytes = 8 * 1024;
  std::size_t body_bytes = 64 * 1024;
  std::size_t connections = 64;                     ///< at once
  base::Duration request{std::chrono::seconds{5}};  ///< from its first byte to its last
  base::Duration idle{std::chrono::seconds{30}};    ///< without a byte between two requests
};

/// What is asked of a web hook.
struct WebRequest {
  bool is_post = false;
  std::string path{};        ///< without a query
  std::string token{};       ///< Authorization: Bearer (RFC 6750, 2.1); empty: none
  std::string media_type{};  ///< lower case, without parameters; empty: not said
  bool is_packed = false;    ///< Content-Encoding
  bool has_body = false;
  bool awaits_leave = false;  ///< Expect: 100-continue
  bool stays = false;         ///< the connection is for more than this request
  std::string body{};
};

/// Takes the HTTP requests of one connection (RFC 9112) out of its bytes. What may mean one
/// thing to us and another to somebody on the way is refused: two lengths, a length and a
/// transfer coding, any coding but "chunked", chunk extensions, trailers, folded lines, bare line
/// ends. Knows no socket and no clock.
class WebRequestReader {
 public:
  enum class Progress : std::uint8_t {
    needs_more,
    head,     ///< once for each request: all of it is known but the body
    whole,    ///< the body, too
    refused,  ///< for good: see refusal(); where the next request would begin is not known
  };

  explicit WebRequestReader(const WebHookLimits& limits);
  ~WebRequestReader();
  WebRequestReader(const WebRequestReader&) = delete;
  WebRequestReader& operator=(const WebRequestReader&) = delete;

  /// The next bytes, after advance() has said that it needs more.
  void feed(std::string_view bytes);
  [[nodiscard]] Progress advance();
  /// After `head` or `whole`.
  [[nodiscard]] const WebRequest& request() const { return request_; }
  /// After `whole`: on to the next one.
  void forget();
  /// The status that says why it is refused: 400, 411, 413, 417 or 431.
  [[nodiscard]] std::uint32_t refusal() const { return refusal_; }
  /// Nothing of a next request has come.
  [[nodiscard]] bool is_idle() const { return !parser_ && rest().empty(); }

 private:
  class Parser;
  [[nodiscard]] std::string_view rest() const { return std::string_view(bytes_).substr(taken_); }
  [[nodiscard]] Progress refuse(std::uint32_t status);
  [[nodiscard]] Progress read_head();
  [[nodiscard]] Progress read_body();

  WebHookLimits limits_;
  std::string bytes_;
  std::size_t taken_ = 0;    ///< of the bytes
  std::size_t scanned_ = 0;  ///< of the rest: no end of a header in there
  std::uint32_t refusal_ = 0;
  WebRequest request_;
  std::unique_ptr<Parser> parser_;  ///< from a whole header on
};

}  // namespace plexor::rig
