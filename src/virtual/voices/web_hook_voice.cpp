#include <boost/beast/http/message.hpp>
#include <boost/beast/http/string_body.hpp>
#include <boost/beast/http/write.hpp>
#include <sstream>
#include <utility>

#include "rig/network/secret.hpp"
#include "virtual/voices/voices.hpp"
#include "virtual/voices/wire.hpp"

namespace plexor::virtual_rig {

namespace {

namespace http = boost::beast::http;
using lines::KernelInstant;

class WebHookVoice final : public TextVoice {
 public:
  WebHookVoice(Speaker speaker, const rig::WebHookSettings& hook)
      : TextVoice(std::move(speaker)),
        path_(hook.path),
        host_(hook.host),
        token_(rig::read_secret(hook.token)),
        wire_(make_tcp_caller(hook.host, hook.port)) {
    wire_->open();
  }

  void plug_in() override {
    wire_->close();
    wire_->open();
  }
  void unplug() override { wire_->close(); }

  void live(KernelInstant now) override {
    (void)wire_->read();  // the answers: a device that tries only once has no use for them
    TextVoice::live(now);
  }

 private:
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
    wire_->write(written.str());
  }
  std::size_t pour(std::string_view bytes) override { return wire_->write(bytes); }

  std::string path_;
  std::string host_;
  std::string token_;
  std::unique_ptr<Wire> wire_;
};

}  // namespace

std::unique_ptr<Voice> make_web_hook_voice(Speaker speaker, const rig::WebHookSettings& hook) {
  return std::make_unique<WebHookVoice>(std::move(speaker), hook);
}

}  // namespace plexor::virtual_rig
