#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include "base/time.hpp"

namespace plexor::rig {

/// How much whoever calls a web hook may ask of it.
struct WebHookLimits {
  std::size_t header_bytes = 8192;
  std::size_t body_bytes = 65'536;
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

  explicit WebRequestReader(const WebHookLimits& limits) : limits_(limits) {}

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
  [[nodiscard]] bool is_idle() const { return part_ == Part::head && rest().empty(); }

 private:
  /// What comes next.
  enum class Part : std::uint8_t {
    head,
    body,  ///< of the length that the header says
    size_of_chunk,
    end_of_size,  ///< its line end
    chunk,
    end_of_chunk,   ///< its line end
    end_of_chunks,  ///< the empty line after the last one
    nothing,        ///< the request is whole
  };
  enum class Step : std::uint8_t { done, needs_more, refused };

  [[nodiscard]] std::string_view rest() const { return std::string_view(bytes_).substr(taken_); }
  Step refuse(std::uint32_t status);
  [[nodiscard]] Step find_head();
  [[nodiscard]] Step read_head(std::string_view head);
  [[nodiscard]] Step read_part();
  [[nodiscard]] Step read_data(Part next);
  [[nodiscard]] Step read_size();
  [[nodiscard]] Step read_line_end(Part next);

  WebHookLimits limits_;
  std::string bytes_;
  std::size_t taken_ = 0;    ///< of the bytes
  std::size_t scanned_ = 0;  ///< of the rest: no end of a header in there
  std::uint32_t refusal_ = 0;
  WebRequest request_;
  Part part_ = Part::head;
  std::uint64_t left_ = 0;  ///< of the body or chunk
};

}  // namespace plexor::rig
