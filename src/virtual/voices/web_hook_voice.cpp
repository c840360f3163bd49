#include <boost/beast/http/message.hpp>
#include <boost/beast/http/string_body.hpp>
#include <boost/beast/http/write.hpp>
#include <sstream>
#include <utility>

#include "rig/network/secret.hpp"
#include "virtual/voices/voices.hpp"
#include "virtual/voices/wire_voice.hpp"

namespace plexor::virtual_rig {

namespace {

namespace http = boost::beast::http;

class WebHookVoice final : public WireVoice {
 public:
  WebHookVoice(Speaker speaker, const rig::WebHookSettings& hook)
      : WireVoice(std::move(speaker), make_tcp_caller(hook.host, hook.port)),
        path_(hook.path),
        host_(hook.host),
        token_(rig::read_secret(hook.token)) {}

 private:
  /// The answers are read and forgotten: a device that tries only once has no use for them.
  void send(const std::string& text) override {
    http::request<http::string_body> request{http::verb::post, path_, 11};
    request.set(http::field::host, host_);
    request.set(http::field::authorization, "Bearer " + token_);
    const bool is_json = text.front() == '{';
    request.set(http::field::content_type, is_json ? "application/json" : "text/plain");
    request.body() = text;
    request.prepare_payload();
    std::ostringstream written;
    written << request;
    pour(written.str());
  }

  std::string path_;
  std::string host_;
  std::string token_;
};

}  // namespace

std::unique_ptr<Voice> make_web_hook_voice(Speaker speaker, const rig::WebHookSettings& hook) {
  return std::make_unique<WebHookVoice>(std::move(speaker), hook);
}

}  // namespace plexor::virtual_rig
