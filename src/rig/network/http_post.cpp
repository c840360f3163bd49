#include "rig/network/http_post.hpp"

#include <fmt/format.h>

#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/beast/core/flat_buffer.hpp>
#include <boost/beast/core/tcp_stream.hpp>
#include <boost/beast/http/empty_body.hpp>
#include <boost/beast/http/parser.hpp>
#include <boost/beast/http/read.hpp>
#include <boost/beast/http/string_body.hpp>
#include <boost/beast/http/write.hpp>
#include <utility>
#include <vector>

#include "rig/network/name_lookup.hpp"
#include "rig/network/secret.hpp"

namespace plexor::rig {

namespace {

namespace asio = boost::asio;
namespace beast = boost::beast;
namespace http = boost::beast::http;
using boost::system::error_code;
using tcp = asio::ip::tcp;

http::request<http::string_body> request_of(const PostSettings& to, const std::string& json) {
  constexpr unsigned http_1_1 = 11;
  constexpr std::uint16_t usual_port = 80;
  http::request<http::string_body> request{http::verb::post, to.path, http_1_1, json};
  const bool is_ipv6 = to.host.find(':') != std::string::npos;
  const std::string host = is_ipv6 ? "[" + to.host + "]" : to.host;
  request.set(http::field::host,
              to.port == usual_port ? host : fmt::format("{}:{}", host, to.port));
  request.set(http::field::content_type, "application/json");
  request.set(http::field::connection, "close");
  if (to.token) request.set(http::field::authorization, "Bearer " + read_secret(*to.token));
  request.prepare_payload();
  return request;
}

/// One request and the head of its answer, step by step.
class Posting {
 public:
  Posting(const PostSettings& to, const std::string& json)
      : to_(to), request_(request_of(to, json)) {}

  std::optional<NotTaken> run(base::Duration patience) {
    lookup_.look_up(to_.host, [this](const error_code& error, const auto& addresses) {
      error ? fail(error) : connect(addresses);
    });
    context_.run_for(patience);
    return trouble_;
  }

 private:
  void connect(const NameLookup::Addresses& addresses) {
    std::vector<tcp::endpoint> ends;
    for (const auto& address : addresses) ends.emplace_back(address, to_.port);
    stream_.async_connect(ends, [this](const error_code& error, const tcp::endpoint&) {
      error ? fail(error) : send();
    });
  }
  void send() {
    http::async_write(stream_, request_, [this](const error_code& error, std::size_t) {
      error ? fail(error) : await_answer();
    });
  }
  void await_answer() {
    http::async_read_header(
        stream_, buffer_, answer_,
        [this](const error_code& error, std::size_t) { error ? fail(error) : end(refusal()); });
  }
  [[nodiscard]] std::optional<NotTaken> refusal() const {
    constexpr unsigned taken = 2;
    const unsigned status = answer_.get().result_int();
    if (status / 100 == taken) return std::nullopt;
    return NotTaken{fmt::format("it answered {} {}", status, std::string{answer_.get().reason()}),
                    true};
  }
  void fail(const error_code& error) { end(NotTaken{error.message()}); }
  void end(std::optional<NotTaken> trouble) {
    trouble_ = std::move(trouble);
    context_.stop();
  }

  const PostSettings& to_;
  http::request<http::string_body> request_;
  asio::io_context context_;
  asio::executor_work_guard<asio::io_context::executor_type> work_{context_.get_executor()};
  NameLookup lookup_{context_};
  beast::tcp_stream stream_{context_};
  beast::flat_buffer buffer_;
  http::response_parser<http::empty_body> answer_;
  std::optional<NotTaken> trouble_ = NotTaken{"no answer in time"};
};

}  // namespace

std::optional<NotTaken> post_json(const PostSettings& to, const std::string& json,
                                  base::Duration patience) {
  return Posting(to, json).run(patience);
}

}  // namespace plexor::rig
