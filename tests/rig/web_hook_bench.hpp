#pragma once

#include <gtest/gtest.h>
#include <sys/stat.h>

#include <filesystem>
#include <fstream>
#include <memory>
#include <string>
#include <string_view>

#include "rig/network/web_hook_listener.hpp"
#include "rig/temporary_folder.hpp"
#include "rig/told.hpp"
#include "rig/web_client.hpp"
#include "rig/web_requests.hpp"

// Devices and outsiders that call over the loopback.

namespace plexor::rig {

namespace fs = std::filesystem;

class WebHookTest : public ::testing::Test {
 protected:
  WebHookTest() : folder_(make_temporary_folder("hook")) {
    write_token("token", std::string(right_token) + "\n");
    settings_.path = "/knock/panel";
    settings_.token.file = file("token");
  }
  ~WebHookTest() override {
    listener_.reset();
    other_.reset();
    server_.reset();
    fs::remove_all(folder_);
  }

  [[nodiscard]] std::string file(const std::string& name) const {
    return (folder_ / name).string();
  }
  void write_token(const std::string& name, const std::string& text) const {
    std::ofstream(file(name)) << text;
    chmod(file(name).c_str(), 0600);
  }

  void listen(const std::string& host = "127.0.0.1") {
    server_ = std::make_shared<WebHookServer>(host, 0, limits_);
    listener_ = std::make_unique<WebHookListener>("panel", settings_, told_.hearers(), server_);
  }
  void listen_to_other(const WebHookSettings& settings) {
    other_ = std::make_unique<WebHookListener>("shelf", settings, other_told_.hearers(), server_);
  }
  [[nodiscard]] WebClient client() const { return WebClient(server_->port()); }
  int ask(std::string_view bytes) { return client().ask(bytes); }
  std::string answer_to(std::string_view bytes) {
    WebClient caller = client();
    caller.say(bytes);
    return caller.answer();
  }

  fs::path folder_;
  WebHookLimits limits_;
  WebHookSettings settings_;
  Told told_;
  Told other_told_;
  std::shared_ptr<WebHookServer> server_;
  std::unique_ptr<WebHookListener> listener_;
  std::unique_ptr<WebHookListener> other_;
};

}  // namespace plexor::rig
